package slack

import (
	"cmp"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/slack-go/slack"

	"clogwise/internal/channel"
)

// Limits of one message, in characters after escaping, a little under what the
// platform states (4000 advised for text, 3000 for a block's text, 75 for a
// button's label, 2000 for its value, 255 for an action id, 25 buttons a row).
const (
	textLimit    = 3900
	sectionLimit = 2900
	labelLimit   = 75
	valueLimit   = 2000
	actionLimit  = 240
	rowLimit     = 25
)

// part is one message of a post. Only the last carries buttons.
type part struct {
	text    string // plain
	choices []channel.Choice
}

// layOut cuts a post into messages the platform takes. What it can never take is
// an error that wraps channel.ErrRefused.
func layOut(p channel.Post) ([]part, error) {
	text := strings.TrimSpace(p.Text)
	if text == "" {
		text = titles(p.Files)
	}
	if text == "" {
		return nil, fmt.Errorf("slack: %w: the post is empty", channel.ErrRefused)
	}
	for _, f := range p.Files {
		if f.Name == "" || len(f.Data) == 0 {
			return nil, fmt.Errorf("slack: %w: file %q is empty or has no name", channel.ErrRefused, f.Name)
		}
	}
	for _, c := range p.Choices {
		switch {
		case c.Label == "" || c.Action == "":
			return nil, fmt.Errorf("slack: %w: a choice has no label or no action", channel.ErrRefused)
		case len(c.Action) > actionLimit || utf8.RuneCountInString(c.Value) > valueLimit:
			return nil, fmt.Errorf("slack: %w: choice %q: action over %d or value over %d characters", channel.ErrRefused, c.Action, actionLimit, valueLimit)
		}
	}
	limit := textLimit
	if len(p.Choices) > 0 {
		limit = sectionLimit
	}
	var parts []part
	for _, piece := range split(text, limit) {
		parts = append(parts, part{text: piece})
	}
	parts[len(parts)-1].choices = p.Choices
	return parts, nil
}

func titles(files []channel.File) string {
	var names []string
	for _, f := range files {
		names = append(names, cmp.Or(f.Title, f.Name))
	}
	return strings.Join(names, ", ")
}

// split cuts text at line ends into pieces of at most limit characters when
// escaped. A line longer than that is cut at a space, or else anywhere.
func split(text string, limit int) []string {
	var pieces []string
	for width(text) > limit {
		at := cut(text, limit)
		pieces = append(pieces, strings.TrimRightFunc(text[:at], unicode.IsSpace))
		if text[at] == '\n' || text[at] == ' ' {
			at++
		}
		text = text[at:]
	}
	return append(pieces, text)
}

// cut finds the byte at which to cut: the end of the last line that fits, else
// of the last word, else of the last character.
func cut(text string, limit int) int {
	line, word, used := 0, 0, 0
	for i, r := range text {
		if blank := strings.TrimSpace(text[:i]) == ""; !blank && r == '\n' {
			line = i
		} else if !blank && r == ' ' {
			word = i
		}
		if used += runeWidth(r); used > limit {
			return cmp.Or(line, word, i)
		}
	}
	return len(text)
}

// width is the number of characters text takes when escaped.
func width(text string) int {
	n := 0
	for _, r := range text {
		n += runeWidth(r)
	}
	return n
}

func runeWidth(r rune) int {
	switch r {
	case '&':
		return len("&amp;")
	case '<', '>':
		return len("&lt;")
	}
	if r > 0xFFFF {
		return 2 // the platform may count UTF-16 units
	}
	return 1
}

// options are the arguments of the call that posts a part.
func (p part) options(thread string) []slack.MsgOption {
	options := []slack.MsgOption{
		slack.MsgOptionText(escape(p.text), false),
		slack.MsgOptionDisableMarkdown(),
		slack.MsgOptionParse(false),
		slack.MsgOptionLinkNames(false),
		slack.MsgOptionDisableLinkUnfurl(),
		slack.MsgOptionDisableMediaUnfurl(),
	}
	if thread != "" {
		options = append(options, slack.MsgOptionTS(thread))
	}
	if len(p.choices) > 0 {
		options = append(options, slack.MsgOptionBlocks(p.blocks()...))
	}
	return options
}

func (p part) blocks() []slack.Block {
	return append([]slack.Block{slack.NewSectionBlock(plainText(p.text), nil, nil)}, rows(p.choices)...)
}

// rows are the buttons of a post or a page.
func rows(choices []channel.Choice) []slack.Block {
	var blocks []slack.Block
	for start := 0; start < len(choices); start += rowLimit {
		var row []slack.BlockElement
		for i := start; i < min(start+rowLimit, len(choices)); i++ {
			c := choices[i]
			row = append(row, slack.NewButtonBlockElement(actionID(c.Action, i), c.Value, plainText(shorten(c.Label, labelLimit))))
		}
		blocks = append(blocks, slack.NewActionBlock("", row...))
	}
	return blocks
}

func plainText(text string) *slack.TextBlockObject {
	return slack.NewTextBlockObject(slack.PlainTextType, escape(text), false, false)
}

// actionID makes a choice's action unique among the buttons of a post, as the
// platform wants it.
func actionID(action string, n int) string { return fmt.Sprintf("%s#%d", action, n) }

// actionOf is the action in an action id.
func actionOf(id string) string {
	if i := strings.LastIndexByte(id, '#'); i >= 0 {
		return id[:i]
	}
	return id
}

// shorten cuts a label to what fits, with an ellipsis.
func shorten(label string, limit int) string {
	if width(label) <= limit {
		return label
	}
	used := 1 // the ellipsis
	for i, r := range label {
		if used += runeWidth(r); used > limit {
			return label[:i] + "…"
		}
	}
	return label
}
