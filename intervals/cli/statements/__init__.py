"""What the command statement does in a site's folder: its chains read, judged again, written."""
