"""What people look at: a Session and its exposure in, plots, HTML and PDF out."""
