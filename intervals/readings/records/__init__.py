"""Service records and analyses: files in which people write down what they did or had analysed."""
