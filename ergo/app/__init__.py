"""What the command line and the page both call: analyse, assess again, report."""
