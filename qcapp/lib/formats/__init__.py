"""How numbers and dates are written where no filter of ours writes them."""
