"""What each driver radiates in each direction, complex, per frequency."""
