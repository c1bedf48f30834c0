"""A virtual rig that shares no code with the reduction."""
