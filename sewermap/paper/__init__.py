"""What is printed: sheets, drafts and calendars made out of answers. Files are written only where they are asked for."""
