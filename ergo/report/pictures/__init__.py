"""Pictures that may be passed on: angles drawn in, bystanders unrecognisable."""
