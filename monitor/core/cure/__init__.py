"""The craft, said in physics: resins, stages, outlook, surface, belief, mixing."""
