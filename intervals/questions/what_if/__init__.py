"""The question behind `what-if`: the past judged again under changed rules."""
