"""What service takes off the plates, and how long they last."""
