package locale

import (
	"fmt"
	"strings"
)

// Text says an English text in the language of l. With arguments it is a format of
// package fmt; a translation may take them in another order: "%[2]s %[1]s".
func (l Locale) Text(english string, args ...any) string {
	text := l.Say(english)
	if len(args) == 0 {
		return text
	}
	return fmt.Sprintf(text, args...)
}

// Say says an English text that is no format, as it is, in the language of l. It is
// for texts kept as data; Mark tells the extraction where they stand.
//
// What a person is to type stands between backticks in the texts: "type `due`". Nobody
// reads those; a test takes what they enclose and holds the grammar to it, in every
// language.
func (l Locale) Say(english string) string {
	if t := l.texts[english]; t != nil && t.IsTranslated() {
		return unquoted(t.Get())
	}
	return unquoted(english)
}

// unquoted is a text without the marks around what is to be typed.
func unquoted(text string) string { return strings.ReplaceAll(text, "`", "") }

// Mark returns its argument. It marks a text that is kept as data and said later by
// Say, so that it is found for translation.
func Mark(english string) string { return english }

// Count says how many of something there are: one text for one, another for any
// other number, each a format whose first argument is the number.
//
//	l.Count(n, "%d bank", "%d banks")
func (l Locale) Count(n int, one, many string, args ...any) string {
	text := many
	if n == 1 {
		text = one
	}
	// English, German and Spanish part one from any other number alike.
	if t := l.texts[one]; t != nil {
		if form := min(abs(n-1), 1); t.IsTranslatedN(form) {
			text = t.GetN(form)
		}
	}
	return fmt.Sprintf(unquoted(text), append([]any{n}, args...)...)
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}

// And joins words: "a, b and c".
func (l Locale) And(words []string) string { return l.join(words, l.Text("and")) }

// Or joins words: "a, b or c".
func (l Locale) Or(words []string) string { return l.join(words, l.Text("or")) }

func (l Locale) join(words []string, last string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " " + last + " " + words[n-1]
	}
	return strings.Join(words, "")
}
