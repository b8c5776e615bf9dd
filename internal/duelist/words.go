package duelist

import "clogwise/internal/locale"

// Words is the condition as people say it.
func (c Condition) Words(in locale.Locale) string {
	switch c {
	case Clean:
		return in.Text("clean")
	case Loading:
		return in.Text("loading")
	case DueSoon:
		return in.Text("due soon")
	case Due:
		return in.Text("due")
	case Overdue:
		return in.Text("overdue")
	case Doubtful:
		return in.Text("doubtful")
	case Unread:
		return in.Text("unread")
	}
	return string(c)
}
