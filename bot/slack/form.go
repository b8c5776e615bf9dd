package slack

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"unicode/utf8"

	"github.com/slack-go/slack"

	"clogwise/internal/channel"
)

// Limits of views, in characters.
const (
	titleLimit = 24
	hintLimit  = 150
	faultLimit = 150
)

// formCallback marks our forms among the views of the workspace, fieldAction the
// one element of each of their fields.
const (
	formCallback = "clogwise-form"
	fieldAction  = "v"
)

// formOrigin comes back with a form that is handed in: which form it is, and
// where the answer goes.
type formOrigin struct {
	Form    string `json:"f"`
	Channel string `json:"c,omitempty"`
	Thread  string `json:"t,omitempty"`
}

// showForm opens a form for whoever did what the trigger stands for, in the three
// seconds that a trigger is good for.
func (e *Edge) showForm(ctx context.Context, trigger string, f channel.Form, origin formOrigin) error {
	origin.Form = f.ID
	meta, err := json.Marshal(origin)
	if err != nil {
		return err
	}
	view := slack.ModalViewRequest{
		Type: slack.VTModal, CallbackID: formCallback, PrivateMetadata: string(meta),
		Title: plainText(shorten(f.Title, titleLimit)), Submit: plainText(shorten(f.Submit, titleLimit)), Close: plainText(shorten(cmp.Or(f.Cancel, "Cancel"), titleLimit)),
	}
	if f.Intro != "" {
		view.Blocks.BlockSet = append(view.Blocks.BlockSet, slack.NewSectionBlock(plainText(shorten(f.Intro, sectionLimit)), nil, nil))
	}
	for _, field := range f.Fields {
		view.Blocks.BlockSet = append(view.Blocks.BlockSet, inputBlock(field))
	}
	if _, err := e.api.OpenViewContext(ctx, trigger, view); err != nil && answerOf(err) != "exchanged_trigger_id" {
		return fmt.Errorf("slack: views.open: %w", redacted(err))
	}
	return nil
}

func inputBlock(f channel.Field) slack.Block {
	var hint *slack.TextBlockObject
	if f.Hint != "" {
		hint = plainText(shorten(f.Hint, hintLimit))
	}
	var element slack.BlockElement
	switch f.Kind {
	case channel.FieldDate:
		e := slack.NewDatePickerBlockElement(fieldAction)
		e.InitialDate = f.Value
		element = e
	case channel.FieldTime:
		e := slack.NewTimePickerBlockElement(fieldAction)
		e.InitialTime = f.Value
		element = e
	default:
		e := slack.NewPlainTextInputBlockElement(nil, fieldAction)
		e.InitialValue = f.Value
		element = e
	}
	b := slack.NewInputBlock(f.ID, plainText(shorten(f.Label, labelLimit)), hint, element)
	b.Optional = !f.Must
	return b
}

// decodeSubmission reads a form that is handed in. The id of what it says is the
// view's: handed in twice, it counts once.
func decodeSubmission(payload []byte, me identity) (inbound, error) {
	var v struct {
		User struct {
			ID string `json:"id"`
		} `json:"user"`
		View struct {
			ID         string `json:"id"`
			CallbackID string `json:"callback_id"`
			Meta       string `json:"private_metadata"`
			State      struct {
				Values map[string]map[string]struct {
					Value string `json:"value"`
					Date  string `json:"selected_date"`
					Time  string `json:"selected_time"`
				} `json:"values"`
			} `json:"state"`
		} `json:"view"`
	}
	if err := json.Unmarshal(payload, &v); err != nil {
		return inbound{}, fmt.Errorf("slack: submission: %w", err)
	}
	if v.View.CallbackID != formCallback || v.User.ID == "" {
		return inbound{}, nil
	}
	var origin formOrigin
	if err := json.Unmarshal([]byte(v.View.Meta), &origin); err != nil {
		return inbound{}, fmt.Errorf("slack: submission: %w", err)
	}
	s := &channel.Submission{Form: origin.Form, Values: map[string]string{}, From: channel.Message{
		Platform: Platform, Team: me.Team, Channel: cmp.Or(origin.Channel, v.User.ID), Thread: origin.Thread,
		ID: commandPrefix + v.User.ID + "-form-" + v.View.ID, User: v.User.ID,
		Direct: origin.Channel == "" || origin.Channel[0] == 'D', Mention: true,
	}}
	for block, elements := range v.View.State.Values {
		for _, e := range elements {
			s.Values[block] = cmp.Or(e.Value, e.Date, e.Time)
		}
	}
	return inbound{bot: me.User, submit: s}, nil
}

// fieldFaults is the answer that shows faults beside their fields and keeps the
// form open.
func fieldFaults(faults map[string]string) any {
	shown := make(map[string]string, len(faults))
	for field, text := range faults {
		if utf8.RuneCountInString(text) > faultLimit {
			text = string([]rune(text)[:faultLimit-1]) + "…"
		}
		shown[field] = text
	}
	return map[string]any{"response_action": "errors", "errors": shown}
}
