"""Pages for a browser: plain HTML that is read and nothing more. `look.py` and `frame.py` are every page's."""
