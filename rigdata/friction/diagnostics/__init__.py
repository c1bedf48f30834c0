"""What a fit must tell about itself: spread, hysteresis, drift, what the law leaves over."""
