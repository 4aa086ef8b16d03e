"""The local page in a browser: a small server on 127.0.0.1, and a worker process that computes (extra ``page``)."""
