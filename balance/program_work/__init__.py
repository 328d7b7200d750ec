"""Work for a program, which belongs to no farm: asked for once, held by one worker, cancelled and tried again."""
