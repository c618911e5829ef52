"""Counter against counter: photo against hand, person against person; correction of counts."""
