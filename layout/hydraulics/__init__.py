"""Water in the finished field: the network of its pipes, what it does when dosed and flushed, what it holds."""
