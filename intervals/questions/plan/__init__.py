"""When the engines are stopped, and for what: a plan of stops for a person to decide on."""
