"""What several commands share: options, dates, problems, progress, where an answer goes, how a refusal is told."""
