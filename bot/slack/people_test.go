package slack_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"clogwise/bot/slack"
	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/channel"
)

const (
	impostor = "U0IMPOSTOR"
	crew     = "S0CREW"
)

func withPeople(c *slack.Config) {
	c.People = map[string]string{"Maren": "U0MAREN", "Day crew": crew}
	c.Groups = func(context.Context) ([]string, error) { return []string{"Tove", "S0NIGHT"}, nil }
}

// Who somebody is goes by id: names and groups of the register are vouched for,
// what people call themselves is not.
func TestWhoSomebodyIs(t *testing.T) {
	t.Parallel()
	b := start(t, fakeslack.Options{}, &recorder{}, withPeople)
	b.AddUser(fakeslack.User{ID: impostor, DisplayName: "Maren"})
	b.AddUser(fakeslack.User{ID: "U0MAREN", DisplayName: "M. (out on Fridays)"})
	b.SetGroup(crew, ana)
	b.SetGroup("S0NIGHT", ana, "U0MAREN")
	for _, user := range []string{impostor, "U0MAREN", ana} {
		b.Say(plantRoom, user, "due")
	}
	b.idle(t)
	got := map[string]channel.Message{}
	for _, m := range b.got.seen() {
		got[m.User] = m
	}
	if m := got[impostor]; m.UserName != "Maren" || len(m.Is) != 0 {
		t.Errorf("impostor is %q %q", m.UserName, m.Is)
	}
	if m := got["U0MAREN"]; m.UserName != "Maren" || !slices.Equal(m.Is, []string{"Maren", "S0NIGHT"}) {
		t.Errorf("Maren is %q %q", m.UserName, m.Is)
	}
	if m := got[ana]; m.UserName != "Ana" || !slices.Equal(m.Is, []string{"Day crew", crew, "S0NIGHT"}) {
		t.Errorf("Ana is %q %q", m.UserName, m.Is)
	}
}

// When a group cannot be asked for, the message comes again rather than being
// refused for want of a role; what was known counts for a day.
func TestGroupOutOfReach(t *testing.T) {
	t.Parallel()
	now := time.Now()
	b := start(t, fakeslack.Options{ResendAfter: 20 * time.Millisecond}, &recorder{}, withPeople, func(c *slack.Config) { c.Now = func() time.Time { return now } })
	b.SetGroup(crew, ana)
	b.SetGroup("S0NIGHT")
	b.Fail("usergroups.users.list", fakeslack.Fault{Status: 503})
	b.Say(plantRoom, ana, "one")
	b.idle(t)
	if m := b.got.seen()[0]; !slices.Contains(m.Is, crew) {
		t.Errorf("after the outage Ana is %q", m.Is)
	}
	now = now.Add(time.Hour)
	b.Fail("usergroups.users.list", fakeslack.Fault{Status: 503, Times: 2})
	b.Say(plantRoom, ana, "two")
	b.idle(t)
	if m := b.got.seen()[1]; !slices.Contains(m.Is, crew) || len(b.got.seen()) != 2 {
		t.Errorf("during an outage Ana is %q", m.Is)
	}
}

func TestPostsToNamesOfTheRegister(t *testing.T) {
	t.Parallel()
	b := start(t, fakeslack.Options{}, &recorder{}, withPeople)
	b.SetGroup(crew, "U0ONE", "U0TWO")
	b.SetGroup("S0EMPTY")
	send := func(to string) error {
		_, err := b.edge.Send(b.ctx, channel.Post{To: channel.Address{Platform: "slack", Channel: to}, Text: "belt squealing"})
		return err
	}
	if err := send("maren"); err != nil {
		t.Error(err)
	}
	b.Fail("chat.postMessage", fakeslack.Fault{})
	b.Fail("chat.postMessage", fakeslack.Fault{Status: 503})
	if send("Day crew") == nil {
		t.Error("no error for the second member")
	}
	if err := send("Day crew"); err != nil {
		t.Error(err)
	}
	var places []string
	for _, p := range b.Posts() {
		places = append(places, p.Channel)
	}
	if want := []string{"D0MAREN", "D0ONE", "D0TWO"}; !slices.Equal(places, want) {
		t.Errorf("posts in %q, want %q", places, want)
	}
	for _, to := range []string{"Tove", "S0EMPTY"} {
		if err := send(to); !errors.Is(err, channel.ErrNobody) || !errors.Is(err, channel.ErrRefused) {
			t.Errorf("to %s: %v", to, err)
		}
	}
}

func TestCheckPeople(t *testing.T) {
	t.Parallel()
	fake := fakeslack.Start(t, fakeslack.Options{})
	fake.AddUser(fakeslack.User{ID: "U0MAREN"})
	fake.SetGroup(crew, ana)
	edge := newEdge(t, fake, withPeople)
	wrong := map[string]string{}
	for _, f := range edge.CheckPeople(t.Context(), []string{"Maren", "Day crew", "Tove", "Idris", "U0GONE", "S0GONE"}) {
		if !f.OK {
			wrong[f.What] = f.Detail + "|" + f.Mend
		}
	}
	for what, word := range map[string]string{"people": "Tove, Idris", "person U0GONE": "no person", "group S0GONE": slack.GroupScope} {
		if !strings.Contains(wrong[what], word) {
			t.Errorf("%s: %q lacks %q", what, wrong[what], word)
		}
	}
	if len(wrong) != 3 {
		t.Errorf("wrong: %q", wrong)
	}
}
