package veil

// Text hides names in running text.
func Text(s string, names ...string) string {
	hidden := map[string]bool{}
	for _, n := range names {
		hidden[Hash(n)] = true
	}
	return text(s, hidden)
}
