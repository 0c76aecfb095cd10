"""The question behind `statement`: a month stated so that it can be proved later."""
