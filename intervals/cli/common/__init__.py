"""What all commands share: options, what is asked of a site, problems, progress, where an answer goes, what a refusal says."""
