package fakeslack

import (
	"fmt"
	"maps"
	"strings"
)

// message is what someone wrote in a channel.
type message struct {
	channel, ts, thread, user, bot, text, subtype string
	files                                         []map[string]any
	replies                                       int
}

func key(channel, ts string) string { return channel + "/" + ts }

// json is the message as it stands inside an event.
func (m *message) json() map[string]any {
	v := map[string]any{"type": "message", "ts": m.ts, "text": m.text, "team": Team}
	if m.bot != "" {
		v["bot_id"] = m.bot
		v["bot_profile"] = map[string]any{"id": m.bot, "name": BotName}
	}
	for name, value := range map[string]string{"user": m.user, "thread_ts": m.thread, "subtype": m.subtype} {
		if value != "" {
			v[name] = value
		}
	}
	if m.thread == "" && m.replies > 0 {
		v["thread_ts"] = m.ts
		v["reply_count"] = m.replies
	}
	if len(m.files) > 0 {
		v["files"] = m.files
	}
	return v
}

// SayOption alters a message.
type SayOption func(*message)

// InThread makes it a reply.
func InThread(ts string) SayOption { return func(m *message) { m.thread = ts } }

// Broadcast makes a reply also appear in the channel.
func Broadcast() SayOption { return func(m *message) { m.subtype = "thread_broadcast" } }

// Mention puts a mention of the bot in front.
func Mention() SayOption { return func(m *message) { m.text = "<@" + BotUser + "> " + m.text } }

// WithFile attaches a file by name.
func WithFile(name string) SayOption {
	return func(m *message) {
		m.subtype = "file_share"
		m.files = append(m.files, map[string]any{"id": "F" + name, "name": name, "mode": "hosted"})
	}
}

// WithTable attaches a file with its content, which the bot may fetch.
func (s *Server) WithTable(name string, data []byte) SayOption {
	return func(m *message) {
		m.subtype = "file_share"
		id := s.nextID("F")
		s.uploads[id] = &File{ID: id, Name: name, Data: data}
		m.files = append(m.files, map[string]any{"id": id, "name": name, "mode": "hosted", "size": len(data),
			"url_private_download": s.http.URL + "/files/" + id})
	}
}

// Subtype sets the message subtype.
func Subtype(name string) SayOption { return func(m *message) { m.subtype = name } }

// FromBot makes another app the author.
func FromBot(id string) SayOption { return func(m *message) { m.bot = id; m.subtype = "bot_message" } }

// Say has a person type text in a channel, and returns the message's timestamp.
// The text reaches the bot as the platform would send it, &, < and > escaped.
func (s *Server) Say(channel, user, text string, opts ...SayOption) (ts string) {
	return s.SayRaw(channel, user, escape(text), opts...)
}

// SayRaw is Say for text that already carries the platform's markup.
func (s *Server) SayRaw(channel, user, text string, opts ...SayOption) (ts string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	m := &message{channel: channel, ts: s.nextTS(), user: user, text: text}
	for _, o := range opts {
		o(m)
	}
	s.publish(m)
	return m.ts
}

// publish keeps a message and tells the bot. The caller holds mu.
func (s *Server) publish(m *message) {
	s.messages[key(m.channel, m.ts)] = m
	if parent := s.messages[key(m.channel, m.thread)]; parent != nil {
		parent.replies++
	}
	s.tellEvent(inChannel(m.json(), m.channel, m.ts))
}

// Edit has the author change a message.
func (s *Server) Edit(channel, ts, text string) error {
	return s.change(channel, ts, func(m *message) map[string]any {
		m.text = escape(text)
		v := m.json()
		v["edited"] = map[string]any{"user": m.user, "ts": s.nextTS()}
		return v
	})
}

// Unfurl changes a message as the platform does when it adds a link preview:
// the text stays.
func (s *Server) Unfurl(channel, ts string) error {
	return s.change(channel, ts, func(m *message) map[string]any {
		v := m.json()
		v["attachments"] = []map[string]any{{"id": 1, "title": "preview"}}
		return v
	})
}

// Delete has the author delete a message. A message with replies leaves a
// tombstone, as on the platform.
func (s *Server) Delete(channel, ts string) error {
	s.mu.Lock()
	m := s.messages[key(channel, ts)]
	if m == nil {
		s.mu.Unlock()
		return fmt.Errorf("fakeslack: no message %s in %s", ts, channel)
	}
	if m.replies > 0 {
		s.mu.Unlock()
		return s.change(channel, ts, func(m *message) map[string]any {
			v := m.json()
			maps.Copy(v, map[string]any{"subtype": "tombstone", "user": "USLACKBOT", "hidden": true, "text": "This message was deleted."})
			return v
		})
	}
	defer s.mu.Unlock()
	delete(s.messages, key(channel, ts))
	now := s.nextTS()
	s.tellEvent(inChannel(map[string]any{
		"type": "message", "subtype": "message_deleted", "hidden": true, "ts": now,
		"deleted_ts": ts, "previous_message": m.json(),
	}, channel, now))
	return nil
}

func (s *Server) change(channel, ts string, alter func(*message) map[string]any) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	m := s.messages[key(channel, ts)]
	if m == nil {
		return fmt.Errorf("fakeslack: no message %s in %s", ts, channel)
	}
	before := m.json()
	after := alter(m)
	now := s.nextTS()
	s.tellEvent(inChannel(map[string]any{
		"type": "message", "subtype": "message_changed", "hidden": true, "ts": now,
		"message": after, "previous_message": before,
	}, channel, now))
	return nil
}

// inChannel adds what every message event says about where it happened.
func inChannel(v map[string]any, channel, eventTS string) map[string]any {
	v["channel"], v["event_ts"], v["channel_type"] = channel, eventTS, channelType(channel)
	return v
}

func channelType(id string) string {
	switch {
	case strings.HasPrefix(id, "D"):
		return "im"
	case strings.HasPrefix(id, "G"):
		return "group"
	}
	return "channel"
}

// Press has a person press the button with this label under a post.
func (s *Server) Press(p Post, label, user string) error {
	for _, b := range p.Buttons {
		if b.Label == label {
			s.press(p, b, user)
			return nil
		}
	}
	return fmt.Errorf("fakeslack: post %s has no button %q", p.TS, label)
}

func (s *Server) press(p Post, b Button, user string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	container := map[string]any{
		"type": "message", "message_ts": p.TS, "channel_id": p.Channel, "is_ephemeral": p.OnlyFor != "",
	}
	msg := map[string]any{"type": "message", "ts": p.TS, "text": p.Raw, "bot_id": BotID, "user": BotUser}
	if p.Thread != "" {
		container["thread_ts"], msg["thread_ts"] = p.Thread, p.Thread
	}
	payload := map[string]any{
		"type":         "block_actions",
		"team":         map[string]string{"id": Team, "domain": "plantcrew"},
		"user":         map[string]string{"id": user, "username": s.users[user].Name, "team_id": Team},
		"api_app_id":   AppID,
		"container":    container,
		"trigger_id":   s.trigger(),
		"channel":      map[string]string{"id": p.Channel, "name": s.channels[p.Channel].Name},
		"response_url": s.http.URL + "/response/" + s.nextID("R"),
		"actions": []map[string]any{{
			"type": "button", "action_id": b.ActionID, "block_id": b.BlockID, "value": b.Value,
			"text": map[string]any{"type": "plain_text", "text": escape(b.Label)}, "action_ts": s.nextTS(),
		}},
	}
	if p.OnlyFor == "" {
		payload["message"] = msg
	}
	s.tell(kindInteractive, "", payload)
}

// Interact delivers an interactive payload of any shape.
func (s *Server) Interact(payload any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.tell(kindInteractive, "", payload)
}

// Command has a person type a slash command.
func (s *Server) Command(channel, user, command, text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.tell(kindCommand, "", map[string]string{
		"command": command, "text": escape(text), "team_id": Team, "channel_id": channel,
		"channel_name": s.channels[channel].Name, "user_id": user, "user_name": s.users[user].Name,
		"trigger_id": s.trigger(), "response_url": s.http.URL + "/response/" + s.nextID("R"),
		"api_app_id": AppID,
	})
}

func escape(text string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;").Replace(text)
}

func unescape(text string) string {
	return strings.NewReplacer("&lt;", "<", "&gt;", ">", "&amp;", "&").Replace(text)
}
