"""How true the finished work will be: looseness and stock sizes carried to its lengths, diagonals and angles."""
