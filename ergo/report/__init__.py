"""What people read: a session and its exposure in, HTML, PDF, plots and pictures out."""
