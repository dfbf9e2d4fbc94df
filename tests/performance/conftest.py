"""Scripts run by hand stand beside these tests; one that imports another of them is not collected for doctests."""

collect_ignore = ["calibration.py", "drawing_speed.py", "statistics_share.py"]
