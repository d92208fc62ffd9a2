"""The machine side: capacity, hoses and pipes, reserve air, treatment life."""
