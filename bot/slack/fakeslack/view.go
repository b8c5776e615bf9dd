package fakeslack

import (
	"context"
	"encoding/json"
	"errors"
	"net/url"
	"strings"
)

// View is a form or a home tab that the bot has shown.
type View struct {
	ID       string
	User     string // of a home tab
	Callback string
	Meta     string
	Title    string
	Text     string // sections and headers
	Fields   []ViewField
	Buttons  []Button
}

// ViewField is a field of a form.
type ViewField struct {
	Block, Label, Hint, Value, Kind string
	Optional                        bool
	action                          string
}

// ErrNotTaken says that the bot did not acknowledge what a person did.
var ErrNotTaken = errors.New("fakeslack: the bot did not take it")

// trigger hands out a trigger, good for one form. The caller holds mu.
func (s *Server) trigger() string {
	id := s.nextID("trigger.")
	s.triggers[id] = true
	return id
}

// view shows a form or a home tab, refusing what the platform refuses. The caller
// holds mu.
func (s *Server) view(method string, form url.Values) map[string]any {
	v, refusal := readView(form.Get("view"))
	if refusal != "" {
		return refuse(refusal)
	}
	v.ID = s.nextID("V")
	switch method {
	case "views.open":
		trigger := form.Get("trigger_id")
		if used, known := s.triggers[trigger]; !known {
			return refuse("invalid_trigger_id")
		} else if !used {
			return refuse("exchanged_trigger_id")
		}
		s.triggers[trigger] = false
		s.views = append(s.views, v)
	case "views.publish":
		v.User = form.Get("user_id")
		s.homes[v.User] = v
	}
	return map[string]any{"ok": true, "view": map[string]any{"id": v.ID, "hash": s.nextID("h")}}
}

func readView(raw string) (v View, refusal string) {
	type text struct {
		Text string `json:"text"`
	}
	var in struct {
		Type     string `json:"type"`
		Callback string `json:"callback_id"`
		Meta     string `json:"private_metadata"`
		Title    text   `json:"title"`
		Submit   text   `json:"submit"`
		Blocks   []struct {
			Type     string `json:"type"`
			BlockID  string `json:"block_id"`
			Text     text   `json:"text"`
			Label    text   `json:"label"`
			Hint     text   `json:"hint"`
			Optional bool   `json:"optional"`
			Element  struct {
				Type     string `json:"type"`
				ActionID string `json:"action_id"`
				Value    string `json:"initial_value"`
				Date     string `json:"initial_date"`
				Time     string `json:"initial_time"`
			} `json:"element"`
			Elements []struct {
				ActionID string `json:"action_id"`
				Value    string `json:"value"`
				Text     text   `json:"text"`
			} `json:"elements"`
		} `json:"blocks"`
	}
	switch err := json.Unmarshal([]byte(raw), &in); {
	case err != nil, len(in.Blocks) > 100, len(in.Meta) > 3000,
		len([]rune(in.Title.Text)) > 24, len([]rune(in.Submit.Text)) > 24,
		in.Type == "modal" && in.Title.Text == "":
		return v, "invalid_arguments"
	}
	v = View{Callback: in.Callback, Meta: in.Meta, Title: unescape(in.Title.Text)}
	seen := map[string]bool{}
	var texts []string
	for _, b := range in.Blocks {
		switch b.Type {
		case "section", "header":
			if n := len([]rune(b.Text.Text)); n == 0 || n > 3000 || b.Type == "header" && n > 150 {
				return v, "invalid_arguments"
			}
			texts = append(texts, unescape(b.Text.Text))
		case "input":
			if seen[b.BlockID] || len(b.BlockID) > 255 || b.Label.Text == "" || len([]rune(b.Label.Text)) > 2000 {
				return v, "invalid_arguments"
			}
			seen[b.BlockID] = true
			v.Fields = append(v.Fields, ViewField{
				Block: b.BlockID, Label: unescape(b.Label.Text), Hint: unescape(b.Hint.Text), Optional: b.Optional,
				Value: b.Element.Value + b.Element.Date + b.Element.Time, Kind: b.Element.Type, action: b.Element.ActionID,
			})
		case "actions":
			for _, e := range b.Elements {
				v.Buttons = append(v.Buttons, Button{Label: unescape(e.Text.Text), ActionID: e.ActionID, BlockID: b.BlockID, Value: e.Value})
			}
		}
	}
	if len(v.Fields) > 0 && in.Submit.Text == "" {
		return v, "invalid_arguments"
	}
	v.Text = strings.Join(texts, "\n")
	return v, ""
}

// WaitView waits for the n-th form that was opened, counted from 1.
func (s *Server) WaitView(ctx context.Context, n int) (v View, err error) {
	err = s.wait(ctx, "a form", func() bool {
		if len(s.views) < n {
			return false
		}
		v = s.views[n-1]
		return true
	})
	return v, err
}

// Views is the number of forms opened so far.
func (s *Server) Views() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.views)
}

// Submit has a person hand in a form, and returns the faults that are shown
// beside its fields. Fields that are not given keep what they were opened with.
func (s *Server) Submit(ctx context.Context, v View, user string, values map[string]string) (faults map[string]string, err error) {
	state := map[string]any{}
	for _, f := range v.Fields {
		value, given := values[f.Block]
		if !given {
			value = f.Value
		}
		key := map[string]string{"datepicker": "selected_date", "timepicker": "selected_time"}[f.Kind]
		if key == "" {
			key = "value"
		}
		var v any
		if value != "" {
			v = value
		}
		state[f.Block] = map[string]any{f.action: map[string]any{"type": f.Kind, key: v}}
	}
	s.mu.Lock()
	d := s.tell(kindInteractive, "", map[string]any{
		"type": "view_submission", "team": map[string]string{"id": Team}, "user": map[string]string{"id": user},
		"view": map[string]any{"id": v.ID, "type": "modal", "callback_id": v.Callback, "private_metadata": v.Meta, "state": map[string]any{"values": state}},
	})
	s.mu.Unlock()
	if err := s.wait(ctx, "a form to be taken", func() bool { return d.done }); err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if d.failed {
		return nil, ErrNotTaken
	}
	var answer struct {
		Action string            `json:"response_action"`
		Errors map[string]string `json:"errors"`
	}
	if len(d.answer) > 0 {
		err = json.Unmarshal(d.answer, &answer)
	}
	return answer.Errors, err
}

// OpenHome has a person look at the bot's home tab, and waits for it.
func (s *Server) OpenHome(ctx context.Context, user string) (View, error) {
	s.mu.Lock()
	before := s.homes[user].ID
	s.tellEvent(map[string]any{"type": "app_home_opened", "user": user, "channel": directChannel(user), "tab": "home", "event_ts": s.nextTS()})
	s.mu.Unlock()
	return s.WaitHome(ctx, user, before)
}

// WaitHome waits for a home tab other than the one with this id.
func (s *Server) WaitHome(ctx context.Context, user, before string) (v View, err error) {
	err = s.wait(ctx, "a home tab", func() bool {
		v = s.homes[user]
		return v.ID != before
	})
	return v, err
}

// PressHome has a person press the button with this label on their home tab.
func (s *Server) PressHome(v View, label string) error {
	for _, b := range v.Buttons {
		if b.Label != label {
			continue
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		s.tell(kindInteractive, "", map[string]any{
			"type": "block_actions", "team": map[string]string{"id": Team}, "user": map[string]string{"id": v.User},
			"container": map[string]any{"type": "view", "view_id": v.ID}, "trigger_id": s.trigger(),
			"actions": []map[string]any{{"type": "button", "action_id": b.ActionID, "block_id": b.BlockID, "value": b.Value, "action_ts": s.nextTS()}},
		})
		return nil
	}
	return errors.New("fakeslack: no button " + label)
}
