package veil

// Text hides names in running text.
func Text(s string, names ...string) string {
	hidden := hiding{}
	for _, n := range names {
		hidden[Hash(n)] = 1
	}
	return text(s, hidden)
}
