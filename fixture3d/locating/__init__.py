"""What holds a piece in its place: contacts, free motions, holding, ways out. Bare solids and numbers only."""
