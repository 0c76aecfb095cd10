"""What users ask, one room a question. Each builds its answer on the judge, which knows of none of them."""
