package slack

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"clogwise/internal/channel"
)

// inbound is something for the handler, one of four: a message or a press, not yet
// plain (the text carries the platform's markup) and without names; a form handed
// in; a person who looks at their page.
type inbound struct {
	eventID string
	bot     string // user id of the bot, whose mention is taken out of the text
	trigger string // of a press or a command: opens a form for three seconds
	message *channel.Message
	files   []file // that came with the message
	press   *channel.Press
	submit  *channel.Submission
	home    *channel.Message // who looks, and nothing said
}

func (in inbound) empty() bool {
	return in.message == nil && in.press == nil && in.submit == nil && in.home == nil
}

// user is the id of the person that did it.
func (in inbound) user() string {
	switch {
	case in.press != nil:
		return in.press.User
	case in.message != nil:
		return in.message.User
	case in.submit != nil:
		return in.submit.From.User
	case in.home != nil:
		return in.home.User
	}
	return ""
}

// lane is the key within which order is kept: the thread, or the channel outside
// threads.
func (in inbound) lane() string {
	switch {
	case in.press != nil:
		return in.press.Channel + "/" + in.press.Thread
	case in.message != nil:
		return in.message.Channel + "/" + in.message.Thread
	case in.submit != nil:
		return in.submit.From.Channel + "/" + in.submit.From.Thread
	case in.home != nil:
		return "home/" + in.home.User
	}
	return "" // nothing for the handler
}

// onceKey is the same for every copy of one happening. A new message may come as
// two events (a message and a mention), so its own key counts; an edit has the
// message's id, so there the event's id counts.
func (in inbound) onceKey() string {
	switch {
	case in.press != nil:
		return "press:" + in.press.ID
	case in.submit != nil:
		return "form:" + in.submit.From.ID
	case in.message != nil && in.message.Change == channel.New:
		return in.message.Key()
	}
	return "event:" + in.eventID
}

// decode reads an envelope's payload by its kind. What is not for the handler
// comes back empty; an error means that the payload is malformed.
func decode(kind string, payload []byte, me identity) (inbound, error) {
	switch kind {
	case "events_api":
		return decodeEvent(payload, me)
	case "interactive":
		return decodeInteraction(payload, me)
	case "slash_commands":
		return decodeCommand(payload, me)
	}
	return inbound{}, nil
}

// event is a message event; edits and deletions carry the message inside.
type event struct {
	Type        string `json:"type"`
	Subtype     string `json:"subtype"`
	Channel     string `json:"channel"`
	ChannelType string `json:"channel_type"`
	User        string `json:"user"`
	BotID       string `json:"bot_id"`
	Text        string `json:"text"`
	TS          string `json:"ts"`
	ThreadTS    string `json:"thread_ts"`
	DeletedTS   string `json:"deleted_ts"`
	Message     *event `json:"message"`
	Previous    *event `json:"previous_message"`
	Files       []file `json:"files"`
	Edited      *struct {
		TS string `json:"ts"`
	} `json:"edited"`
}

func decodeEvent(payload []byte, me identity) (inbound, error) {
	var callback struct {
		EventID string          `json:"event_id"`
		Event   json.RawMessage `json:"event"`
	}
	if err := json.Unmarshal(payload, &callback); err != nil {
		return inbound{}, fmt.Errorf("slack: event payload: %w", err)
	}
	var head struct {
		Type string `json:"type"`
		User any    `json:"user"`
		Tab  string `json:"tab"`
	}
	if err := json.Unmarshal(callback.Event, &head); err != nil {
		return inbound{}, fmt.Errorf("slack: event: %w", err)
	}
	if user, ok := head.User.(string); ok && head.Type == "app_home_opened" && head.Tab == "home" {
		in := home(user, me)
		in.eventID = callback.EventID
		return in, nil
	}
	// Other events may use the same field names for other shapes.
	if head.Type != "message" && head.Type != "app_mention" {
		return inbound{}, nil
	}
	var ev event
	if err := json.Unmarshal(callback.Event, &ev); err != nil {
		return inbound{}, fmt.Errorf("slack: message event: %w", err)
	}
	m := ev.meaning(me)
	if m == nil {
		return inbound{}, nil
	}
	m.Platform, m.Team, m.Channel = Platform, me.Team, ev.Channel
	m.Direct = ev.ChannelType == "im" || strings.HasPrefix(ev.Channel, "D")
	m.At = timeOf(m.ID)
	in := inbound{eventID: callback.EventID, bot: me.User, message: m}
	if m.Change == channel.New {
		in.files = ev.Files
	}
	return in, nil
}

// meaning says what a message event tells, nil if nothing for us.
func (ev *event) meaning(me identity) *channel.Message {
	switch ev.Subtype {
	case "":
		// A reply's parent is announced by a message event whose subtype the
		// platform forgets; it is known by the message inside.
		if ev.Message != nil {
			return nil
		}
		return ev.written(me, channel.New)
	case "thread_broadcast", "file_share", "me_message":
		return ev.written(me, channel.New)
	case "message_changed":
		return ev.changed(me)
	case "message_deleted":
		return ev.deleted(me)
	}
	return nil // joins, topics, pins, other bots
}

// changed tells a person's edit from the platform's own changes (link previews,
// thread counters), which leave the text as it was.
func (ev *event) changed(me identity) *channel.Message {
	if ev.Message == nil {
		return nil
	}
	if ev.Message.Subtype == "tombstone" {
		// A deleted message with replies: a placeholder takes its place.
		return (&event{DeletedTS: ev.Message.TS, Previous: ev.Previous}).deleted(me)
	}
	if ev.Previous != nil && ev.Previous.Text == ev.Message.Text {
		return nil
	}
	if ev.Previous == nil && ev.Message.Edited == nil {
		return nil
	}
	return ev.Message.written(me, channel.Edited)
}

func (ev *event) deleted(me identity) *channel.Message {
	gone := event{TS: ev.DeletedTS}
	if ev.Previous != nil {
		gone = *ev.Previous
		gone.TS, gone.Text = ev.DeletedTS, ""
	}
	if gone.TS == "" || gone.byBot(me) {
		return nil
	}
	return &channel.Message{ID: gone.TS, Thread: gone.thread(), User: gone.User, Change: channel.Deleted}
}

func (ev *event) written(me identity, change channel.Change) *channel.Message {
	if ev.TS == "" || ev.User == "" || ev.byBot(me) {
		return nil
	}
	return &channel.Message{
		ID: ev.TS, Thread: ev.thread(), User: ev.User, Text: ev.Text, Change: change,
		Mention: mentions(ev.Text, me.User),
	}
}

// byBot holds for our own and other bots' messages. People have no bot id; the
// presence of other app fields says nothing.
func (ev *event) byBot(me identity) bool {
	return ev.BotID != "" || ev.Subtype == "bot_message" || ev.User == me.User || ev.User == "USLACKBOT"
}

// thread is the thread the message is in. The platform gives a thread's first
// message its own timestamp for a thread; that message is outside.
func (ev *event) thread() string {
	if ev.ThreadTS == ev.TS {
		return ""
	}
	return ev.ThreadTS
}

// timeOf reads a message timestamp: seconds since 1970 and microseconds. The
// zero time stands for what is not one.
func timeOf(ts string) time.Time {
	sec, frac, _ := strings.Cut(ts, ".")
	s, err := strconv.ParseInt(sec, 10, 64)
	if err != nil {
		return time.Time{}
	}
	us, err := strconv.ParseInt((frac + "000000")[:6], 10, 64)
	if err != nil {
		return time.Time{}
	}
	return time.Unix(s, us*1000).UTC()
}

// isTimestamp reports whether an id names a message, and so can carry a thread.
func isTimestamp(id string) bool {
	sec, frac, ok := strings.Cut(id, ".")
	digits := func(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }
	return ok && digits(sec) && digits(frac)
}
