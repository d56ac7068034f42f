"""Fifty rooms under steady fire for as long as one likes: does the daemon stay the same size, and is all well after?"""
