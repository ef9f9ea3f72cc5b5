"""An invented meet as plain files, and the script that plays it."""
