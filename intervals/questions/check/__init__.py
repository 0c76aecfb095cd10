"""The question behind `check`: every task of every engine of a site, judged."""
