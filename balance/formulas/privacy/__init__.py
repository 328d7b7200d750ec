"""What may be told of many farms together without telling of one."""
