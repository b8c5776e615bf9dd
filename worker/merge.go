package worker

import (
	"strings"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/locale"
)

// together is how many posts at the head of a channel's queue go out as one:
// replies that could not be sent for so long that their threads have moved on. A
// post of another kind, above all a safe-work list or an alert, stands alone.
func (o *Outbox) together(queue []held) int {
	n := 0
	for n < len(queue) && o.MergeAfter > 0 && o.Now().Sub(queue[n].Created) >= o.MergeAfter && plainReply(queue[n]) {
		n++
	}
	return max(n, 1)
}

// plainReply holds for a reply that says all it has to say in words.
func plainReply(p held) bool {
	for _, c := range p.Post.Choices {
		if c.Action != "undo" {
			return false
		}
	}
	return (strings.HasPrefix(p.Key, "re:") || strings.HasPrefix(p.Key, "follow:")) &&
		len(p.Post.Files) == 0 && p.Post.To.OnlyFor == ""
}

// merged is one post that says what several say: in their thread, where they
// share it, else in the channel. Their buttons are left out; the numbers in the
// text still undo.
func merged(posts []held, in locale.Locale, now time.Time) channel.Post {
	if len(posts) == 1 {
		return posts[0].said(in)
	}
	to := posts[0].Post.To
	oldest := posts[0].Created
	var texts []string
	for _, p := range posts {
		if p.Post.To.Thread != to.Thread {
			to.Thread = ""
		}
		if p.Created.Before(oldest) {
			oldest = p.Created
		}
		texts = append(texts, p.said(in).Text)
	}
	head := in.Text("%d replies at once: the chat was out of reach for up to %s. Everything was recorded when it was sent.",
		len(posts), roughly(in, now.Sub(oldest)))
	return channel.Post{To: to, Text: head + "\n\n" + strings.Join(texts, "\n\n")}
}

// said is what a post says, with a word about it where it may be a repetition.
func (p held) said(in locale.Locale) channel.Post {
	post := p.Post
	if p.Uncertain {
		post.Text += "\n" + in.Say(uncertainNote)
	}
	return post
}

// roughly is a duration in words, rounded up.
func roughly(in locale.Locale, d time.Duration) string {
	up := func(unit time.Duration) int { return int((d + unit - 1) / unit) }
	switch day := 24 * time.Hour; {
	case d > 2*day:
		return in.Count(up(day), "%d day", "%d days")
	case d > 2*time.Hour:
		return in.Count(up(time.Hour), "%d hour", "%d hours")
	}
	return in.Count(up(time.Minute), "%d minute", "%d minutes")
}
