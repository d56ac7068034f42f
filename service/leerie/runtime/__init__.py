"""Around the controller: the broker, the clock, the folder, the log and the scrape page. One thread decides."""
