package slack

import (
	"cmp"
	"encoding/json"
	"fmt"
	"strings"

	"clogwise/internal/channel"
)

// decodeInteraction reads presses of buttons under our posts and on the home tab,
// and forms that are handed in. Shortcuts come the same way; there are none.
func decodeInteraction(payload []byte, me identity) (inbound, error) {
	var v struct {
		Type    string `json:"type"`
		Trigger string `json:"trigger_id"`
		User    struct {
			ID string `json:"id"`
		} `json:"user"`
		Channel struct {
			ID string `json:"id"`
		} `json:"channel"`
		Container struct {
			MessageTS string `json:"message_ts"`
			ThreadTS  string `json:"thread_ts"`
			ChannelID string `json:"channel_id"`
		} `json:"container"`
		Message struct {
			ThreadTS string `json:"thread_ts"`
		} `json:"message"`
		Actions []struct {
			Type     string `json:"type"`
			ActionID string `json:"action_id"`
			Value    string `json:"value"`
			ActionTS string `json:"action_ts"`
		} `json:"actions"`
	}
	if err := json.Unmarshal(payload, &v); err != nil {
		return inbound{}, fmt.Errorf("slack: interaction: %w", err)
	}
	if v.Type == "view_submission" {
		return decodeSubmission(payload, me)
	}
	if v.Type != "block_actions" || len(v.Actions) == 0 || v.Actions[0].Type != "button" {
		return inbound{}, nil
	}
	a := v.Actions[0] // a press is one action; more come only from forms
	p := &channel.Press{
		Platform: Platform,
		Team:     me.Team,
		Channel:  cmp.Or(v.Channel.ID, v.Container.ChannelID),
		Thread:   cmp.Or(v.Container.ThreadTS, v.Message.ThreadTS),
		PostID:   v.Container.MessageTS,
		ID:       a.ActionTS + "/" + a.ActionID + "/" + v.User.ID,
		User:     v.User.ID,
		Action:   actionOf(a.ActionID),
		Value:    a.Value,
		At:       timeOf(a.ActionTS),
	}
	if p.Thread == p.PostID {
		p.Thread = ""
	}
	return inbound{bot: me.User, trigger: v.Trigger, press: p}, nil
}

// commandPrefix marks the id of a message that was typed as a slash command. It
// names the person, so that an answer finds them where the bot may not post.
const commandPrefix = "cmd-"

// decodeCommand reads a slash command as a message that addresses the bot, in
// the channel where it was typed (which tells the site). It has no timestamp:
// its id is not one and carries no thread.
func decodeCommand(payload []byte, me identity) (inbound, error) {
	var v struct {
		Text      string `json:"text"`
		ChannelID string `json:"channel_id"`
		UserID    string `json:"user_id"`
		TriggerID string `json:"trigger_id"`
	}
	if err := json.Unmarshal(payload, &v); err != nil {
		return inbound{}, fmt.Errorf("slack: command: %w", err)
	}
	if v.UserID == "" || v.TriggerID == "" {
		return inbound{}, nil
	}
	return inbound{bot: me.User, trigger: v.TriggerID, message: &channel.Message{
		Platform: Platform,
		Team:     me.Team,
		Channel:  v.ChannelID,
		ID:       commandPrefix + v.UserID + "-" + v.TriggerID,
		User:     v.UserID,
		Text:     v.Text,
		Direct:   strings.HasPrefix(v.ChannelID, "D"),
		Mention:  true,
	}}, nil
}

// commandUser is the person who typed the command with this message id.
func commandUser(id string) (user string, ok bool) {
	rest, ok := strings.CutPrefix(id, commandPrefix)
	if !ok {
		return "", false
	}
	user, _, ok = strings.Cut(rest, "-")
	return user, ok
}
