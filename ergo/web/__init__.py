"""The review page: sessions in, pages and answers out; served to this machine alone."""
