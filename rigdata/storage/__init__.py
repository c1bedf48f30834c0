"""Reading and writing of files that nothing may be lost from."""
