"""What stands on a lesson sheet, on screen and on paper: ten minutes before a lesson."""
