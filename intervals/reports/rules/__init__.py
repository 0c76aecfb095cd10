"""Rule sets to read: pages, sources, differences, worked examples."""
