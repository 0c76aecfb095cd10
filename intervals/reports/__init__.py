"""Reports: findings in, text out. A report draws; it computes nothing and judges nothing."""
