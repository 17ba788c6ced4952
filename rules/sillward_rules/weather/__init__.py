"""The weather: the site and its sun, the hourly forecast, and what becomes of it at each spot."""
