"""What goes on the boat: map, sheet, plotter files, layers."""
