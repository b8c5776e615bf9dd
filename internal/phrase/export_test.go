package phrase

// Steps counts the tokens looked at while the marks of text are made: the
// measure of the linear-time test.
func Steps(text string, sc Scope) int {
	k := marker{text: text, toks: lex(text), index: sc.Index}
	n := len(k.toks)
	marksWith(&k)
	return n + k.steps
}
