package slack_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/bot/slack"
	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/channel"
)

const directRoom = "D0ANA"

// What the platform's markup looks like is described in its public guide
// "Formatting message text"; the readings are invented.
func TestTextAsTyped(t *testing.T) {
	t.Parallel()
	b := start(t, fakeslack.Options{}, &recorder{})
	b.AddChannel(fakeslack.Channel{ID: "C0OTHER", Name: "boiler-house", Member: true})
	for name, c := range map[string]struct {
		raw, want string
		mention   bool
	}{
		"entities":                  {raw: "ahu3 bag &gt;2 in wc &amp; &lt;3", want: "ahu3 bag >2 in wc & <3"},
		"entity is resolved once":   {raw: "&amp;lt;", want: "&lt;"},
		"greater than at the start": {raw: "&gt;2 in wc", want: ">2 in wc"},
		"bot in front":              {raw: "<@U0CLOGBOT> due", want: "due", mention: true},
		"bot with colon":            {raw: "<@U0CLOGBOT>: due", want: "due", mention: true},
		"bot with label":            {raw: "<@U0CLOGBOT|clogwise> due", want: "due", mention: true},
		"bot inside":                {raw: "hey <@U0CLOGBOT> what is due", want: "hey what is due", mention: true},
		"bot at the end":            {raw: "what is due <@U0CLOGBOT>", want: "what is due", mention: true},
		"bot before a line":         {raw: "<@U0CLOGBOT>\nahu3 bag 145", want: "ahu3 bag 145", mention: true},
		"person":                    {raw: "tell <@U0ANA> the bag is torn", want: "tell @Ana the bag is torn"},
		"unknown person":            {raw: "tell <@U0NOBODY>", want: "tell @U0NOBODY"},
		"channel with name":         {raw: "see <#C0OTHER|boiler-house>", want: "see #boiler-house"},
		"channel without name":      {raw: "see <#C0OTHER>", want: "see #C0OTHER"},
		"channel with empty name":   {raw: "see <#C0OTHER|>", want: "see #C0OTHER"},
		"link":                      {raw: "log at <https://bms.example/a?x=1&amp;y=2>", want: "log at https://bms.example/a?x=1&y=2"},
		"link with text":            {raw: "<http://ahu3.bag|ahu3.bag> 145 Pa", want: "ahu3.bag 145 Pa"},
		"mail":                      {raw: "ask <mailto:ana@plant.example|ana@plant.example>", want: "ask ana@plant.example"},
		"mail without text":         {raw: "ask <mailto:ana@plant.example>", want: "ask ana@plant.example"},
		"telephone":                 {raw: "<tel:+441632960000|145 150 160>", want: "145 150 160"},
		"everybody here":            {raw: "<!here> stop", want: "@here stop"},
		"user group":                {raw: "<!subteam^S012|@crew> stop", want: "@crew stop"},
		"date":                      {raw: "read <!date^1392734382^{date}|18 Feb 2014>", want: "read 18 Feb 2014"},
		"smart quotes stay":         {raw: "ahu3 pre 0.6” “bag” ‘ok’", want: "ahu3 pre 0.6” “bag” ‘ok’"},
		"emphasis goes":             {raw: "*ahu3* _bag_ `145 Pa`, (*ok*)", want: "ahu3 bag 145 Pa, (ok)"},
		"nested emphasis":           {raw: "*_ahu3_* 145", want: "ahu3 145"},
		"sizes stay":                {raw: "24*24*12 swap 4 * 6", want: "24*24*12 swap 4 * 6"},
		"underscores in tags stay":  {raw: "AHU_3_bag 145", want: "AHU_3_bag 145"},
		"about stays":               {raw: "ahu3 bag ~145 Pa ~150", want: "ahu3 bag ~145 Pa ~150"},
		"code block":                {raw: "```ahu3 bag 145\nahu4 bag 150```", want: "ahu3 bag 145\nahu4 bag 150"},
		"bullets":                   {raw: "round:\n• ahu3 145\n    ◦ ahu4 150", want: "round:\nahu3 145\nahu4 150"},
		"lone star":                 {raw: "*ahu3 bag 145", want: "*ahu3 bag 145"},
		"lone less-than":            {raw: "a < b", want: "a < b"},
		"empty after mention":       {raw: "<@U0CLOGBOT>", want: "", mention: true},
	} {
		t.Run(name, func(t *testing.T) {
			ts := b.SayRaw(plantRoom, ana, c.raw)
			b.idle(t)
			m := b.find(t, ts)
			if m.Text != c.want || m.Mention != c.mention {
				t.Errorf("%q\n got %q, mention %v\nwant %q, mention %v", c.raw, m.Text, m.Mention, c.want, c.mention)
			}
		})
	}
}

// find returns the message with this id that came last.
func (b *bench) find(tb testing.TB, id string) channel.Message {
	tb.Helper()
	all := b.got.seen()
	for i := len(all) - 1; i >= 0; i-- {
		if all[i].ID == id {
			return all[i]
		}
	}
	tb.Fatalf("message %s was not handled", id)
	return channel.Message{}
}

func TestWhereAMessageIs(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 3, 2, 7, 4, 5, 600_000_000, time.UTC)
	b := start(t, fakeslack.Options{Clock: func() time.Time { return at }}, &recorder{})

	root := b.Say(plantRoom, ana, "root")
	reply := b.Say(plantRoom, ana, "reply", fakeslack.InThread(root))
	cast := b.Say(plantRoom, ana, "cast", fakeslack.InThread(root), fakeslack.Broadcast())
	file := b.Say(plantRoom, ana, "see the photo", fakeslack.WithFile("gauge.jpg"))
	direct := b.Say(directRoom, ana, "due")
	private := b.Say("G0PRIVATE", ana, "due")
	b.idle(t)

	base := channel.Message{Platform: slack.Platform, Team: fakeslack.Team, Channel: plantRoom, User: ana, UserName: "Ana"}
	want := func(id, text string, alter func(*channel.Message)) channel.Message {
		m := base
		m.ID, m.Text = id, text
		if alter != nil {
			alter(&m)
		}
		return m
	}
	for name, c := range map[string]channel.Message{
		"in the channel":                    want(root, "root", nil),
		"in a thread":                       want(reply, "reply", func(m *channel.Message) { m.Thread = root }),
		"thread reply shown in the channel": want(cast, "cast", func(m *channel.Message) { m.Thread = root }),
		"with a file":                       want(file, "see the photo", nil),
		"direct":                            want(direct, "due", func(m *channel.Message) { m.Channel = directRoom; m.Direct = true }),
		"in a private group":                want(private, "due", func(m *channel.Message) { m.Channel = "G0PRIVATE" }),
	} {
		t.Run(name, func(t *testing.T) {
			got := b.find(t, c.ID)
			if d := got.At.Sub(at); d < 0 || d > time.Millisecond {
				t.Errorf("At %v, want %v", got.At, at)
			}
			got.At = time.Time{}
			if files := got.Files; (name == "with a file") != (len(files) == 1 && files[0].Name == "gauge.jpg") {
				t.Errorf("files %+v", files)
			}
			got.Files = nil
			if diff := cmp.Diff(c, got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestEditsAndDeletions(t *testing.T) {
	t.Parallel()
	b := start(t, fakeslack.Options{}, &recorder{})
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		b.idle(t)
	}
	root := b.Say(plantRoom, ana, "ahu3 bag 145")
	reply := b.Say(plantRoom, ana, "ahu4 bag 150", fakeslack.InThread(root))
	must(nil)

	must(b.Edit(plantRoom, root, "ahu3 bag > 154"))
	if m := b.find(t, root); m.Change != channel.Edited || m.Text != "ahu3 bag > 154" || m.Thread != "" || m.User != ana || m.UserName != "Ana" {
		t.Errorf("edit of a thread's first message: %+v", m)
	}
	must(b.Edit(plantRoom, reply, "ahu4 bag 155"))
	if m := b.find(t, reply); m.Change != channel.Edited || m.Text != "ahu4 bag 155" || m.Thread != root {
		t.Errorf("edit of a reply: %+v", m)
	}
	must(b.Edit(plantRoom, reply, "ahu4 bag 156"))
	if m := b.find(t, reply); m.Text != "ahu4 bag 156" {
		t.Errorf("second edit: %+v", m)
	}

	before := len(b.got.seen())
	must(b.Unfurl(plantRoom, root))
	if n := len(b.got.seen()); n != before {
		t.Errorf("a link preview was taken for an edit: %+v", b.got.seen()[before:])
	}

	must(b.Delete(plantRoom, root))
	if m := b.find(t, root); m.Change != channel.Deleted || m.Text != "" || m.User != ana || m.Thread != "" {
		t.Errorf("deletion of a message with replies: %+v", m)
	}
	must(b.Delete(plantRoom, reply))
	if m := b.find(t, reply); m.Change != channel.Deleted || m.Text != "" || m.User != ana || m.Thread != root {
		t.Errorf("deletion of a reply: %+v", m)
	}

	b.Event(map[string]any{"type": "message", "subtype": "message_deleted", "channel": plantRoom, "ts": "1700000001.000100", "deleted_ts": "1700000000.000100"})
	b.idle(t)
	if m := b.find(t, "1700000000.000100"); m.Change != channel.Deleted || m.User != "" {
		t.Errorf("deletion that does not say of what: %+v", m)
	}
}

func TestNotForUs(t *testing.T) {
	t.Parallel()
	b := start(t, fakeslack.Options{}, &recorder{})
	ours, err := b.edge.Send(b.ctx, channel.Post{To: channel.Address{Channel: plantRoom}, Text: "saved"})
	if err != nil {
		t.Fatal(err)
	}
	b.idle(t)
	for name, happen := range map[string]func(){
		"other bot":           func() { b.Say(plantRoom, "", "beep", fakeslack.FromBot("B0OTHER")) },
		"other bot with user": func() { b.Say(plantRoom, "U0OTHERBOT", "beep", fakeslack.FromBot("B0OTHER"), fakeslack.Subtype("")) },
		"own post":            func() { b.Say(plantRoom, fakeslack.BotUser, "saved") },
		"own post deleted":    func() { _ = b.Delete(plantRoom, ours) },
		"join":                func() { b.Say(plantRoom, ana, "Ana has joined", fakeslack.Subtype("channel_join")) },
		"topic":               func() { b.Say(plantRoom, ana, "set the topic", fakeslack.Subtype("channel_topic")) },
		"reminder bot":        func() { b.Say(plantRoom, "USLACKBOT", "Reminder: filters") },
		"reply announced to its parent": func() {
			b.Event(map[string]any{"type": "message", "hidden": true, "channel": plantRoom, "ts": "1700000002.000100",
				"message": map[string]any{"type": "message", "user": ana, "text": "root", "ts": "1700000000.000100", "thread_ts": "1700000000.000100"}})
		},
		"reaction": func() {
			b.Event(map[string]any{"type": "reaction_added", "user": ana, "reaction": "eyes", "item": map[string]any{"type": "message", "channel": plantRoom, "ts": "1700000000.000100"}})
		},
		"event nobody knows":      func() { b.Event(map[string]any{"type": "gauge_exploded", "message": "odd shape", "ts": 3}) },
		"message of an odd shape": func() { b.Event(map[string]any{"type": "message", "text": 5, "channel": []int{1}}) },
		"message without a author": func() {
			b.Event(map[string]any{"type": "message", "text": "145", "ts": "1700000000.000100", "channel": plantRoom})
		},
		"event that is no object": func() { b.Event("hello") },
		"shortcut":                func() { b.Interact(map[string]any{"type": "shortcut", "callback_id": "x"}) },
		"menu": func() {
			b.Interact(map[string]any{"type": "block_actions", "actions": []map[string]any{{"type": "static_select", "action_id": "x"}}})
		},
		"command without a person": func() { b.Command(plantRoom, "", "/clogwise", "due") },
	} {
		t.Run(name, func(t *testing.T) {
			happen()
			b.idle(t) // acknowledged, so that it does not come again
			if got := b.got.seen(); len(got) > 0 {
				t.Errorf("handled: %+v", got)
			}
			if got := b.got.pressed(); len(got) > 0 {
				t.Errorf("handled: %+v", got)
			}
		})
	}
	t.Run("person without a bot profile", func(t *testing.T) {
		b.Event(map[string]any{"type": "message", "user": ana, "text": "145", "ts": "1700000009.000100", "channel": plantRoom, "channel_type": "channel", "bot_profile": nil, "app_id": nil})
		b.idle(t)
		b.find(t, "1700000009.000100")
	})
	t.Run("frames of unknown kinds do not stop the socket", func(t *testing.T) {
		if err := errors.Join(b.SendRaw(map[string]any{"type": "fanfare"}), b.SendRaw([]int{1}), b.SendRaw("x")); err != nil {
			t.Fatal(err)
		}
		ts := b.Say(plantRoom, ana, "still there")
		b.idle(t)
		b.find(t, ts)
	})
}

// A message that mentions the bot may come as a message and as a mention.
func TestMentionComesTwice(t *testing.T) {
	t.Parallel()
	b := start(t, fakeslack.Options{}, &recorder{})
	ts := b.Say(plantRoom, ana, "due", fakeslack.Mention())
	b.Event(map[string]any{"type": "app_mention", "user": ana, "text": "<@U0CLOGBOT> due", "ts": ts, "channel": plantRoom})
	b.Event(map[string]any{"type": "app_mention", "user": ana, "text": "<@U0CLOGBOT> orders", "ts": "1700000000.000100", "channel": plantRoom})
	b.idle(t)
	if got := b.got.seen(); len(got) != 2 || !got[1].Mention || got[1].Text != "orders" {
		t.Errorf("handled %+v", got)
	}
}

func TestNames(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	later := make(chan time.Duration, 1)
	later <- 0
	clock := func() time.Time {
		d := <-later
		later <- d
		return now.Add(d)
	}
	b := start(t, fakeslack.Options{}, &recorder{}, func(c *slack.Config) { c.Now = clock })
	say := func(user string) string {
		ts := b.Say(plantRoom, user, "145")
		b.idle(t)
		return b.find(t, ts).UserName
	}
	calls := func() int { return len(b.Calls("users.info")) }

	b.AddUser(fakeslack.User{ID: "U0REAL", Name: "r", RealName: "Rae Real"})
	b.AddUser(fakeslack.User{ID: "U0BARE", Name: "bare"})
	for user, want := range map[string]string{ana: "Ana", "U0REAL": "Rae Real", "U0BARE": "bare", "U0NONE": "U0NONE"} {
		if got := say(user); got != want {
			t.Errorf("%s is called %q, want %q", user, got, want)
		}
	}
	before := calls()
	say(ana)
	say("U0NONE")
	if n := calls(); n != before {
		t.Errorf("asked again for known names: %d calls", n-before)
	}

	<-later
	later <- 2 * time.Minute
	b.AddUser(fakeslack.User{ID: "U0NONE", DisplayName: "Nora"})
	if got := say("U0NONE"); got != "Nora" {
		t.Errorf("a failed look-up was believed too long: %q", got)
	}
	say(ana)
	<-later
	later <- 2 * time.Hour
	b.AddUser(fakeslack.User{ID: ana, DisplayName: "Ana T"})
	if got := say(ana); got != "Ana T" {
		t.Errorf("an old name was believed too long: %q", got)
	}
	b.Fail("users.info", fakeslack.Fault{Status: 500})
	if got := say("U0LATE"); got != "U0LATE" {
		t.Errorf("with the look-up failing: %q", got)
	}

	before = calls()
	var crowd strings.Builder
	for _, c := range "ABCDEFGHIJKLMNOPQRST" {
		crowd.WriteString("<@U0CROWD" + string(c) + "> ")
	}
	ts := b.SayRaw(plantRoom, ana, crowd.String())
	b.idle(t)
	if n := calls() - before; n > 10 {
		t.Errorf("%d look-ups for one message", n)
	}
	if text := b.find(t, ts).Text; !strings.HasSuffix(text, "@U0CROWDT") {
		t.Errorf("text %q", text)
	}
}

// A look-up that hangs costs a second, not the message.
func TestNameLookUpHangs(t *testing.T) {
	t.Parallel()
	b := start(t, fakeslack.Options{}, &recorder{})
	b.Fail("users.info", fakeslack.Fault{Hold: make(chan struct{})})
	ts := b.Say(plantRoom, ana, "145")
	b.idle(t)
	if m := b.find(t, ts); m.UserName != ana {
		t.Errorf("name %q, want the id", m.UserName)
	}
}

func TestPress(t *testing.T) {
	t.Parallel()
	b := start(t, fakeslack.Options{}, &recorder{})
	root := b.Say(plantRoom, ana, "145")
	choices := []channel.Choice{
		{Label: "bag <2>", Action: "answer", Value: "north/ahu-3/secondary"},
		{Label: "primary", Action: "answer", Value: "north/ahu-3/primary"},
		{Label: "none", Action: "dismiss#all"},
	}
	send := func(to channel.Address) fakeslack.Post {
		t.Helper()
		id, err := b.edge.Send(b.ctx, channel.Post{To: to, Text: "Which bank?", Choices: choices})
		if err != nil {
			t.Fatal(err)
		}
		p, err := b.WaitPost(b.ctx, func(p fakeslack.Post) bool { return p.TS == id })
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	press := func(p fakeslack.Post, label string) channel.Press {
		t.Helper()
		before := len(b.got.pressed())
		if err := b.Press(p, label, ana); err != nil {
			t.Fatal(err)
		}
		b.idle(t)
		all := b.got.pressed()
		if len(all) != before+1 {
			t.Fatalf("%d presses handled", len(all)-before)
		}
		return all[before]
	}

	inThread := send(channel.Address{Channel: plantRoom, Thread: root})
	got := press(inThread, "primary")
	want := channel.Press{
		Platform: slack.Platform, Team: fakeslack.Team, Channel: plantRoom, Thread: root, PostID: inThread.TS,
		User: ana, UserName: "Ana", Action: "answer", Value: "north/ahu-3/primary",
	}
	if got.ID == "" || got.At.IsZero() {
		t.Errorf("no id or time: %+v", got)
	}
	first := got.ID
	got.ID, got.At = "", time.Time{}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if again := press(inThread, "primary"); again.ID == first {
		t.Error("two presses share an id")
	}
	if got := press(send(channel.Address{Channel: plantRoom}), "bag <2>"); got.Thread != "" || got.Value != "north/ahu-3/secondary" {
		t.Errorf("outside a thread: %+v", got)
	}
	hint := send(channel.Address{Channel: plantRoom, Thread: root, OnlyFor: ana})
	if got := press(hint, "none"); got.PostID != hint.TS || got.Thread != root || got.Action != "dismiss#all" || got.Value != "" {
		t.Errorf("under an ephemeral post: %+v", got)
	}
}

func TestCommand(t *testing.T) {
	t.Parallel()
	b := start(t, fakeslack.Options{}, &recorder{})
	b.AddChannel(fakeslack.Channel{ID: "C0STRANGE", Name: "canteen"})
	b.Command(plantRoom, ana, "/clogwise", "ahu3 bag > 145")
	b.Command(plantRoom, ana, "/clogwise", "due")
	b.Command("C0STRANGE", ana, "/clogwise", "due")
	b.Command(directRoom, ana, "/clogwise", "due")
	b.idle(t)
	got := b.got.seen()
	if len(got) != 4 {
		t.Fatalf("handled %d commands, want 4: %+v", len(got), got)
	}
	byChannel := map[string]channel.Message{}
	ids := map[string]bool{}
	for _, m := range got {
		byChannel[m.Channel] = m
		ids[m.ID] = true
		if !m.Mention || m.User != ana || m.UserName != "Ana" || m.Thread != "" || m.At.IsZero() || m.Direct != (m.Channel == directRoom) {
			t.Errorf("command %+v", m)
		}
	}
	if len(ids) != 4 {
		t.Error("commands share an id")
	}
	// Commands have no thread in common, so they are handled in any order.
	if !slices.ContainsFunc(got, func(m channel.Message) bool { return m.Channel == plantRoom && m.Text == "ahu3 bag > 145" }) {
		t.Errorf("text was changed: %+v", got)
	}

	answer := func(m channel.Message) fakeslack.Post {
		t.Helper()
		id, err := b.edge.Send(b.ctx, channel.Post{To: channel.Address{Channel: m.Channel, Thread: m.ID}, Text: "nothing due"})
		if err != nil {
			t.Fatal(err)
		}
		p, err := b.WaitPost(b.ctx, func(p fakeslack.Post) bool { return p.TS == id })
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	if p := answer(byChannel[plantRoom]); p.Channel != plantRoom || p.Thread != "" {
		t.Errorf("answer to a command: %+v", p)
	}
	if p := answer(byChannel["C0STRANGE"]); p.Channel != directRoom {
		t.Errorf("where the bot is no member the answer went to %s", p.Channel)
	}
}
