package slack

import (
	"cmp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// mentions reports whether a text mentions a person.
func mentions(text, user string) bool {
	return strings.Contains(text, "<@"+user+">") || strings.Contains(text, "<@"+user+"|")
}

// plain turns the platform's markup into the text a person typed: the bot's own
// mention goes, other references become what people see, emphasis and code marks
// go where the platform would have taken them for such. Stars and underscores
// inside words and sizes ("20*20*4", "AHU_3") stay, and so do tildes, which
// people use for "about".
func plain(text, bot string, nameOf func(user string) string) string {
	var b strings.Builder
	for rest := text; rest != ""; {
		open := strings.IndexByte(rest, '<')
		shut := -1
		if open >= 0 {
			shut = strings.IndexByte(rest[open:], '>')
		}
		if shut < 0 {
			b.WriteString(typed(rest))
			break
		}
		b.WriteString(typed(rest[:open]))
		ref := rest[open+1 : open+shut]
		rest = rest[open+shut+1:]
		if target, _, _ := strings.Cut(ref, "|"); target == "@"+bot {
			rest = withoutMention(&b, rest)
			continue
		}
		b.WriteString(seen(ref, nameOf))
	}
	return strings.TrimSpace(b.String())
}

// withoutMention closes the gap that the bot's mention leaves: one space stays
// between words, and at the start of a line none, nor the colon after the name.
func withoutMention(b *strings.Builder, rest string) string {
	before := b.String()
	if before == "" || strings.HasSuffix(before, "\n") {
		return strings.TrimLeft(rest, " :,")
	}
	if strings.HasSuffix(before, " ") {
		return strings.TrimLeft(rest, " ")
	}
	return rest
}

// seen is what people see of a reference, the part between < and >.
func seen(ref string, nameOf func(string) string) string {
	target, label, _ := strings.Cut(ref, "|")
	switch {
	case strings.HasPrefix(target, "@"):
		return "@" + nameOf(target[1:])
	case strings.HasPrefix(target, "#"):
		return "#" + strings.TrimPrefix(unescape(cmp.Or(label, target[1:])), "#")
	case strings.HasPrefix(target, "!date^"):
		return unescape(label)
	case strings.HasPrefix(target, "!"):
		return "@" + strings.TrimPrefix(unescape(cmp.Or(label, target[1:])), "@")
	case label != "":
		return unescape(label)
	}
	return unescape(strings.TrimPrefix(strings.TrimPrefix(target, "mailto:"), "tel:"))
}

// typed is text outside references: entities resolved, emphasis taken away.
func typed(text string) string {
	text = strings.ReplaceAll(text, "```", "")
	if strings.ContainsAny(text, "*_`•◦▪") {
		lines := strings.Split(text, "\n")
		for i, line := range lines {
			line = withoutBullet(line)
			for _, mark := range "*_`" {
				line = withoutMarks(line, byte(mark))
			}
			lines[i] = line
		}
		text = strings.Join(lines, "\n")
	}
	return unescape(text)
}

func withoutBullet(line string) string {
	trimmed := strings.TrimLeft(line, " ")
	for _, bullet := range []string{"• ", "◦ ", "▪ ", "▪︎ "} {
		if rest, ok := strings.CutPrefix(trimmed, bullet); ok {
			return rest
		}
	}
	return line
}

// withoutMarks takes away pairs of mark that stand around words as emphasis does.
func withoutMarks(line string, mark byte) string {
	if strings.IndexByte(line, mark) < 0 {
		return line
	}
	var b strings.Builder
	for i := 0; i < len(line); i++ {
		if line[i] != mark || !opens(line, i) {
			b.WriteByte(line[i])
			continue
		}
		end := closing(line, i, mark)
		if end < 0 {
			// No later mark can close either.
			b.WriteString(line[i:])
			break
		}
		b.WriteString(line[i+1 : end])
		i = end
	}
	return b.String()
}

func opens(line string, i int) bool {
	next, _ := utf8.DecodeRuneInString(line[i+1:])
	return i+1 < len(line) && !unicode.IsSpace(next) && !inWord(before(line, i))
}

func closing(line string, open int, mark byte) int {
	for j := open + 2; j < len(line); j++ {
		if line[j] != mark || unicode.IsSpace(before(line, j)) {
			continue
		}
		if after, size := utf8.DecodeRuneInString(line[j+1:]); size == 0 || !inWord(after) {
			return j
		}
	}
	return -1
}

func before(line string, i int) rune {
	r, size := utf8.DecodeLastRuneInString(line[:i])
	if size == 0 {
		return ' '
	}
	return r
}

func inWord(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }

func unescape(text string) string {
	if !strings.Contains(text, "&") {
		return text
	}
	return strings.NewReplacer("&lt;", "<", "&gt;", ">", "&amp;", "&").Replace(text)
}

// escape keeps text from being taken for markup, mentions or entities.
func escape(text string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;").Replace(text)
}
