"""What was tested and on what: campaign, rig, packs and calibration records."""
