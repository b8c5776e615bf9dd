package bot_test

import (
	"testing"

	"clogwise/bot"
	"clogwise/internal/channel"
)

// Slips are told to the person alone; what was recorded or asked, to all.
func TestHintsAreForThePersonAlone(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	only := func(m channel.Message) string {
		p, err := r.store.Post(t.Context(), bot.ReplyKey(m))
		must(t, err)
		return p.Post.To.OnlyFor
	}
	m := r.message(tove, "what a lovely morning")
	m.Mention = true
	r.hear(m)
	if only(m) != tove {
		t.Errorf("not understood, for %q", only(m))
	}
	m.ID, m.Direct = "direct", true
	r.hear(m)
	if only(m) != "" {
		t.Errorf("in direct messages, for %q", only(m))
	}
	for _, text := range []string{"AHU-1 pre 80 Pa", "AHU-3 62 Pa", "due"} {
		if m, _ := r.says(tove, text); only(m) != "" {
			t.Errorf("%q is answered for %q alone", text, only(m))
		}
	}
	press := r.message(tove, "")
	must(t, r.engine.HandlePress(t.Context(), channel.Press{Platform: press.Platform, Team: press.Team, Channel: press.Channel,
		ID: press.ID, User: tove, UserName: tove, Action: "answer", Value: "0@gone", At: press.At}))
	if only(press) != tove {
		t.Errorf("a stale button, for %q", only(press))
	}
}

// Somebody of no crew who speaks to the bot where no site is served is told where
// to ask; what is not meant for the bot is passed over.
func TestStrangers(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m := r.message(guest, "due")
	m.Channel, m.Direct = "D0", true
	r.hear(m)
	wantText(t, r.reply(m), "no crew", "anybody may ask")
	m = r.message(guest, "lunch?")
	m.Channel = "elsewhere"
	r.hear(m)
	if got := r.reply(m); got != "" {
		t.Errorf("chatter is answered: %q", got)
	}
	m = r.message(guest, "due")
	r.hear(m)
	wantText(t, r.reply(m), "Quillford Clinic")
}
