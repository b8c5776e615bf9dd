package digest

import "clogwise/internal/plant"

// Since is what happened in the week before a digest.
type Since struct{}

// Weekly is the weekly post to supervisors.
func Weekly(b Board, reg *plant.Register, s Since) string { return "" }
