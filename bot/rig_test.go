package bot_test

import (
	"cmp"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"clogwise/bot"
	"clogwise/configs"
	"clogwise/internal/channel"
	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/ledgertest"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
	"clogwise/internal/register"
	"clogwise/internal/safework"
	"clogwise/internal/view"
	"clogwise/worker"
)

// People of the demo's clinic: Maren supervises, Tove, Idris and Pell are crew.
const (
	maren = "Maren"
	tove  = "Tove"
	idris = "Idris"
	guest = "Visitor"
)

// rig is a conversation on a real ledger and an embedded queue, with the worker
// done by hand so that nothing depends on the wall clock.
type rig struct {
	t      testing.TB
	store  *ledgertest.Faulty
	queue  *queue.Queue
	view   *view.View
	engine *bot.Engine
	worker *worker.Recomputer
	now    time.Time
	n      int
}

// newRig starts on a Wednesday in March at 10:00 in London, with the demo's
// register and no history.
func newRig(t testing.TB) *rig {
	t.Helper()
	return newRigIn(t, "")
}

// newRigIn is newRig with sites that speak a language.
func newRigIn(t testing.TB, language string) *rig {
	t.Helper()
	ctx := t.Context()
	real, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "ledger.db"), sqlite.Options{})
	must(t, err)
	r := &rig{t: t, store: ledgertest.NewFaulty(real), now: time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)}
	t.Cleanup(func() { must(t, r.store.Close()) })
	var b ledger.Batch
	sites := demo.Portfolio()
	for i := range sites.Sites {
		sites.Sites[i].Language = language
	}
	for i, e := range register.Diff(nil, sites) {
		place := plant.BankID(e.ID)
		if e.Object == register.ObjectItem {
			place = ""
		}
		b.Entries = append(b.Entries, entry.Entry{Source: fmt.Sprintf("register:%04d", i), Kind: e.Kind(), Place: place,
			At: r.now.AddDate(-1, 0, 0), Received: r.now.AddDate(-1, 0, 0), By: "clogwise", Body: e})
	}
	_, err = r.store.Commit(ctx, b)
	must(t, err)
	r.restart()
	return r
}

// restart begins anew on the same ledger with an empty queue.
func (r *rig) restart() {
	r.t.Helper()
	q, err := queue.OpenEmbedded(queue.Options{})
	must(r.t, err)
	r.t.Cleanup(func() { _ = q.Close() }) // may be closed by the test already
	steps, err := safework.Load(configs.SafeWorkSteps)
	must(r.t, err)
	log := slog.New(slog.DiscardHandler)
	r.queue, r.view = q, view.New(r.store)
	r.engine = &bot.Engine{Store: r.store, Memory: q, View: r.view, Now: r.clock, Log: log, Steps: steps,
		Expires: time.Hour, HereFor: time.Hour}
	r.worker = &worker.Recomputer{Store: r.store, View: r.view, Queue: q, Now: r.clock, Log: log, ReplyWait: 5 * time.Second}
}

func (r *rig) clock() time.Time { return r.now }

// message is what a person writes in the clinic's channel a minute later.
func (r *rig) message(user, text string) channel.Message {
	r.n++
	r.now = r.now.Add(time.Minute)
	return channel.Message{Platform: "test", Team: "t", Channel: "clinic", ID: fmt.Sprintf("m%03d", r.n),
		User: user, UserName: user, Text: text, At: r.now}
}

// hear hands a message over and lets the worker catch up.
func (r *rig) hear(m channel.Message) {
	r.t.Helper()
	must(r.t, r.engine.HandleMessage(r.t.Context(), m))
	r.catchUp()
}

func (r *rig) catchUp() {
	r.t.Helper()
	lags, err := r.store.Lagging(r.t.Context(), 0)
	must(r.t, err)
	for _, l := range lags {
		if _, err := r.view.Recompute(r.t.Context(), l.Bank, r.now); err != nil && !errors.Is(err, view.ErrNoBank) {
			r.t.Fatal(err)
		}
	}
	must(r.t, r.worker.Render(r.t.Context(), nil, false))
}

// says is what a person writes, and the reply to it.
func (r *rig) says(user, text string) (channel.Message, string) {
	r.t.Helper()
	m := r.message(user, text)
	r.hear(m)
	return m, r.reply(m)
}

// reply is the text of the ready reply to a message; empty when there is none.
func (r *rig) reply(m channel.Message) string {
	r.t.Helper()
	p, err := r.store.Post(r.t.Context(), bot.ReplyKey(m))
	if errors.Is(err, ledger.ErrNotFound) {
		return ""
	}
	must(r.t, err)
	if p.State != ledger.PostReady {
		r.t.Fatalf("reply to %q is %s", m.Text, p.State)
	}
	return p.Post.Text
}

// press presses the button with a label under the reply to a message.
func (r *rig) press(user string, under channel.Message, label string) string {
	r.t.Helper()
	p, err := r.store.Post(r.t.Context(), bot.ReplyKey(under))
	must(r.t, err)
	for _, c := range p.Post.Choices {
		if strings.EqualFold(c.Label, label) {
			return r.pressed(user, c)
		}
	}
	r.t.Fatalf("no button %q under %q: %+v", label, p.Post.Text, p.Post.Choices)
	return ""
}

func (r *rig) pressed(user string, c channel.Choice) string {
	r.t.Helper()
	m := r.message(user, "")
	must(r.t, r.engine.HandlePress(r.t.Context(), channel.Press{Platform: m.Platform, Team: m.Team, Channel: m.Channel,
		ID: m.ID, User: user, UserName: user, Action: c.Action, Value: c.Value, At: m.At}))
	r.catchUp()
	return r.reply(m)
}

// edit changes the text of a message.
func (r *rig) edit(m channel.Message, text string) (channel.Message, string) {
	r.t.Helper()
	m.Text, m.Change = text, channel.Edited
	r.now = r.now.Add(time.Minute)
	r.hear(m)
	return m, r.reply(m)
}

// standing is what the ledger says now, but for the register, as "kind place body".
func (r *rig) standing() []string {
	r.t.Helper()
	all, err := r.store.Entries(r.t.Context(), ledger.Filter{})
	must(r.t, err)
	var out []string
	for _, x := range entry.Standing(all) {
		if x.Kind != entry.KindRegister {
			out = append(out, string(x.Kind)+" "+string(x.Place)+" "+bodyText(x.Body))
		}
	}
	return out
}

func (r *rig) count() int {
	r.t.Helper()
	head, err := r.store.Head(r.t.Context())
	must(r.t, err)
	return int(head)
}

func bodyText(b entry.Body) string {
	switch b := b.(type) {
	case entry.Reading:
		return fmt.Sprintf("%.0f Pa hz=%s", b.Pa, opt(b.FanHz))
	case entry.Swap:
		n := "?"
		if b.Count != nil {
			n = fmt.Sprint(*b.Count)
		}
		return fmt.Sprintf("count=%s clean=%s confirmed=%t", n, opt(b.CleanPa), b.Confirmed)
	case entry.Stock:
		return fmt.Sprintf("%s=%d", b.Item, b.Count)
	case entry.StepsSent:
		return b.When
	case entry.StepsRead:
		return b.When
	}
	return ""
}

func opt(f *float64) string {
	if f == nil {
		return "?"
	}
	return fmt.Sprintf("%.0f", *f)
}

func (r *rig) wantStanding(want ...string) {
	r.t.Helper()
	got := r.standing()
	for i := range max(len(got), len(want)) {
		var g, w string
		if i < len(got) {
			g = strings.TrimSpace(got[i])
		}
		if i < len(want) {
			w = want[i]
		}
		if g != w {
			r.t.Errorf("standing %d: %s, want %s", i, cmp.Or(g, "nothing"), cmp.Or(w, "nothing"))
		}
	}
}

func wantText(t testing.TB, got string, parts ...string) {
	t.Helper()
	if got == "" {
		t.Errorf("no reply; want %q", parts)
	}
	for _, p := range parts {
		if !strings.Contains(got, p) {
			t.Errorf("reply %q lacks %q", got, p)
		}
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
