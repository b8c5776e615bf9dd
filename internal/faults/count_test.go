package faults_test

import (
	"encoding/json"
	"errors"
	"html"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
	"clogwise/internal/view"
	"clogwise/worker"
)

// unsaid counts posts that are still to be said.
func (r *rig) unsaid() (int, error) {
	ready, err := r.store.Posts(r.ctx, ledger.PostReady, 0)
	if err != nil {
		return 0, err
	}
	waiting, err := r.store.Posts(r.ctx, ledger.PostWaiting, 0)
	return len(ready) + len(waiting), err
}

// count holds what is in the ledger, the forecasts and the channels against
// what was acknowledged and what was due.
func (r *rig) count() {
	r.Helper()
	for _, odd := range r.load.odd {
		r.Error(odd)
	}
	if err := r.store.Check(r.ctx); err != nil {
		r.Errorf("the ledger is damaged: %v", err)
	}
	entries, err := r.store.Entries(r.ctx, ledger.Filter{})
	if err != nil {
		r.Fatal(err)
	}
	posts, err := r.store.Posts(r.ctx, "", 0)
	if err != nil {
		r.Fatal(err)
	}
	r.onceEach(entries)
	r.repliesOnce(posts)
	r.digestsOnce(posts)
	r.listsOnce(entries)
	r.saidOnce(posts)
	r.forecastsStand()
	r.failedOver()
}

// onceEach: every acknowledged item and every typed message is one entry, the
// very one that the answer named.
func (r *rig) onceEach(entries []entry.Entry) {
	r.Helper()
	acked, said := r.load.kept()
	seqs := map[string][]int64{}
	for _, x := range entries {
		seqs[x.Source] = append(seqs[x.Source], x.Seq)
	}
	for source, seq := range acked {
		switch in := seqs[source]; {
		case len(in) == 0:
			r.lost++
		case len(in) > 1:
			r.doubled++
		case in[0] != seq:
			r.Errorf("%s was acknowledged as entry %d and is entry %d", source, seq, in[0])
		}
	}
	typed := map[string]int{}
	for source := range seqs {
		if strings.HasPrefix(source, "slack:") {
			typed[source[:strings.LastIndexByte(source, ':')]]++
		}
	}
	for _, key := range said {
		switch n := typed[key]; {
		case n == 0:
			r.lost++
		case n > 1:
			r.doubled++
		}
	}
	if r.lost+r.doubled > 0 {
		r.Errorf("%d acknowledged readings lost, %d doubled", r.lost, r.doubled)
	}
}

// repliesOnce: every typed message has its reply.
func (r *rig) repliesOnce(posts []ledger.OutboxPost) {
	r.Helper()
	have := map[string]bool{}
	for _, p := range posts {
		have[p.Key] = true
	}
	_, said := r.load.kept()
	for _, key := range said {
		if !have["re:"+key] {
			r.Errorf("no reply to %s", key)
		}
	}
}

// digestsOnce: each site's digest fell due every digestPeriod from the first until the
// load ended, and there is one for each of them; the key keeps it from being there
// twice.
func (r *rig) digestsOnce(posts []ledger.OutboxPost) {
	r.Helper()
	for _, s := range r.plant.Sites {
		due, err := digestsOf(posts, s)
		switch {
		case err != nil:
			r.Error(err)
		case len(due) == 0:
			r.Errorf("%s: the digest that was due at the start never came", s.ID)
		default:
			for _, at := range due {
				if at.Sub(due[0])%digestPeriod != 0 {
					r.Errorf("%s: a digest at %s, when none was due", s.ID, at.Format(digestTime))
				}
			}
			for _, at := range r.missed(due) {
				r.Errorf("%s: no digest at %s", s.ID, at.Format(digestTime))
			}
		}
		r.digests += len(due)
	}
}

const digestTime = "2006-01-02T15:04"

// digestsOf are the times, in order, to which a site's digests were due.
func digestsOf(posts []ledger.OutboxPost, s plant.Site) ([]time.Time, error) {
	var due []time.Time
	for _, p := range posts {
		face, ok := strings.CutPrefix(p.Key, "cron:digest:"+s.ID+":")
		if !ok {
			continue
		}
		at, err := time.ParseInLocation(digestTime, face, s.Location())
		if err != nil {
			return nil, err
		}
		due = append(due, at)
	}
	slices.SortFunc(due, time.Time.Compare)
	return due, nil
}

// missed are the times between a site's first digest and the end of the load to which
// none came. Where a machine whose clock had leapt sent one of the time to come, those
// until then are in it, by design.
func (r *rig) missed(due []time.Time) []time.Time {
	var out []time.Time
	for at := due[0]; !at.After(r.eased); at = at.Add(digestPeriod) {
		ahead := slices.ContainsFunc(due, func(d time.Time) bool {
			return d.After(at) && slices.ContainsFunc(r.leaps, func(l time.Time) bool {
				return !d.Before(l.Add(leap-digestPeriod)) && !at.Before(l.Add(-digestPeriod))
			})
		})
		if !ahead && !slices.ContainsFunc(due, at.Equal) {
			out = append(out, at)
		}
	}
	return out
}

// digestsOwed counts the digests that fell due and have not come.
func (r *rig) digestsOwed() (int, error) {
	posts, err := r.store.Posts(r.ctx, "", 0)
	n := 0
	for _, s := range r.plant.Sites {
		due, faulty := digestsOf(posts, s)
		if len(due) > 0 {
			n += len(r.missed(due))
		}
		err = errors.Join(err, faulty)
	}
	return n, err
}

// listsOnce: of every job whose list before the start fell due while there was
// load, the ledger says once that it went out.
func (r *rig) listsOnce(entries []entry.Entry) {
	r.Helper()
	for bank, n := range r.listed(entries) {
		r.lists++
		if n != 1 {
			r.Errorf("the list before the start at %s went out %d times", bank, n)
		}
	}
}

// listed counts how often the list before the start went out for each job to
// which it was due by the end of the load.
func (r *rig) listed(entries []entry.Entry) map[plant.BankID]int {
	out := map[plant.BankID]int{}
	for _, x := range entries {
		if b, ok := x.Body.(entry.Booking); ok && !b.Start.Add(-time.Hour).After(r.eased) {
			out[x.Place] += 0
		}
	}
	for _, x := range entries {
		b, ok := x.Body.(entry.StepsSent)
		if _, due := out[x.Place]; ok && due && b.When == "before-start" {
			out[x.Place]++
		}
	}
	return out
}

// owed counts the jobs whose list has not gone out yet.
func (r *rig) owed() (int, error) {
	entries, err := r.store.Entries(r.ctx, ledger.Filter{Kinds: []entry.Kind{entry.KindBooking, entry.KindStepsSent}})
	n := 0
	for _, times := range r.listed(entries) {
		if times == 0 {
			n++
		}
	}
	return n, err
}

// saidOnce: what the outbox says was sent is in the channel, and whatever else
// is there is a repeat that the outbox knows may have happened.
func (r *rig) saidOnce(posts []ledger.OutboxPost) {
	r.Helper()
	sent := map[string]bool{} // ids, which no two messages of the workspace share
	var unsure []*uncertain
	files := 0 // each a message of its own
	for _, p := range posts {
		if p.State != ledger.PostSent {
			r.Errorf("post %s is %s after %d attempts: %s", p.Key, p.State, p.Attempts, p.LastError)
			continue
		}
		sent[p.PostID] = true
		files += len(p.Post.Files)
		if p.Uncertain {
			r.marked++
			files += len(p.Post.Files) // may be there twice
			unsure = append(unsure, uncertainOf(p))
		}
	}
	there, shared := map[string]bool{}, 0
	for _, p := range r.slack.Posts() {
		there[p.TS] = true
		switch {
		case sent[p.TS]:
		case len(p.Files) > 0:
			shared++
		default:
			r.repeats++
			if !repeats(unsure, p) {
				r.Errorf("in %s twice, and no post of the outbox is marked as possibly repeated: %.80q", p.Channel, p.Text)
			}
		}
	}
	if shared > files {
		r.Errorf("%d files shared, of %d", shared, files)
	}
	for id := range sent {
		if !there[id] {
			r.Errorf("the outbox says that %s was sent; it is not there", id)
		}
	}
}

// uncertain is a post that may have been sent more than once.
type uncertain struct {
	to, thread string
	text       string
	repeats    int // at most
}

func uncertainOf(p ledger.OutboxPost) *uncertain {
	return &uncertain{to: p.Post.To.Channel, thread: p.Post.To.Thread, text: core(p.Post.Text), repeats: p.Attempts - 1}
}

// repeats reports whether a message repeats one of the posts that may have been sent
// again, and counts it. A reply that was merged with others the second time has their
// texts too.
func repeats(of []*uncertain, p fakeslack.Post) bool {
	said := core(p.Text)
	for _, u := range of {
		if u.repeats > 0 && u.to == meantFor(p) && u.thread == p.Thread && (strings.Contains(said, u.text) || strings.Contains(u.text, said)) {
			u.repeats--
			return true
		}
	}
	return false
}

// core is a text as it was written: without what is added when it is sent again, and
// without what chat's markup makes of signs.
func core(text string) string {
	text, _, _ = strings.Cut(text, "\n(This may repeat an earlier post")
	return html.UnescapeString(strings.TrimSpace(text))
}

// meantFor is the channel of the outbox's post: a person's, where it came to the
// site's channel by a detour.
func meantFor(p fakeslack.Post) string {
	if name, _, detour := strings.Cut(strings.TrimPrefix(p.Text, "For "), ", whom no direct message reaches"); detour {
		return name
	}
	return p.Channel
}

// forecastsStand compares the forecasts with those made anew from the entries.
func (r *rig) forecastsStand() {
	r.Helper()
	kept, rebuilt := r.copyOf("kept"), r.copyOf("rebuilt")
	r.asOfThen(kept)

	// A nightly recompute starts from the forecasts that came through the faults,
	// a rebuild from nothing. At one moment they must agree in every digit, what
	// the fleet teaches included.
	now := time.Now().Add(time.Second).Truncate(time.Second)
	v := view.New(kept)
	nightly := worker.Recomputer{Store: kept, View: v, Now: func() time.Time { return now }}
	if err := nightly.RecomputeAll(r.ctx, ""); err != nil {
		r.Fatal(err)
	}
	r.env = append(r.env, "CLOGWISE_LEDGER="+filepath.Join(r.dir, "rebuilt.db"))
	r.run("rebuild", "--now", now.Format(time.RFC3339))
	r.same(r.projections(kept), r.projections(rebuilt))
}

// copyOf opens a copy of the ledger.
func (r *rig) copyOf(name string) *sqlite.Store {
	r.Helper()
	file := filepath.Join(r.dir, name+".db")
	if err := r.store.Backup(r.ctx, file); err != nil {
		r.Fatal(err)
	}
	s, err := sqlite.Open(r.ctx, file, sqlite.Options{})
	if err != nil {
		r.Fatal(err)
	}
	r.Cleanup(func() { _ = s.Close() })
	return s
}

// asOfThen makes each bank's forecast anew from all its entries as of the moment
// of the one that is there. Only the number of the newest entry may differ: the
// ledger went on with entries of other banks.
func (r *rig) asOfThen(s ledger.Store) {
	r.Helper()
	v := view.New(s)
	for bank, old := range r.projections(s) {
		fresh, err := v.Assess(r.ctx, bank, old.Now)
		if err != nil {
			r.Errorf("%s: %v", bank, err)
			continue
		}
		fresh = stored(r, fresh)
		fresh.UpTo = old.UpTo
		if diff := cmp.Diff(fresh, old, cmpopts.IgnoreUnexported(assess.Assessment{})); diff != "" {
			r.Errorf("%s: the forecast is not what its entries say (-entries +kept):\n%s", bank, diff)
		}
		r.compared++
	}
}

// stored is an assessment as it is after it was kept.
func stored(r *rig, a assess.Assessment) (out assess.Assessment) {
	r.Helper()
	raw, err := json.Marshal(a)
	if err == nil {
		err = json.Unmarshal(raw, &out)
	}
	if err != nil {
		r.Error(err)
	}
	return out
}

// projections are the banks' forecasts.
func (r *rig) projections(s ledger.Store) map[plant.BankID]assess.Assessment {
	r.Helper()
	ps, err := s.Projections(r.ctx, "")
	if err != nil {
		r.Fatal(err)
	}
	out := map[plant.BankID]assess.Assessment{}
	for _, p := range ps {
		if strings.HasPrefix(string(p.Bank), "@") { // what the fleet teaches: compared through the forecasts
			continue
		}
		var a assess.Assessment
		if err := json.Unmarshal(p.Data, &a); err != nil {
			r.Fatal(err)
		}
		out[p.Bank] = a
	}
	if want := len(r.plant.Banks); len(out) != want {
		r.Errorf("%d banks have a forecast, of %d", len(out), want)
	}
	return out
}

func (r *rig) same(kept, rebuilt map[plant.BankID]assess.Assessment) {
	r.Helper()
	for bank, a := range kept {
		if diff := cmp.Diff(rebuilt[bank], a, cmpopts.IgnoreUnexported(assess.Assessment{})); diff != "" {
			r.Errorf("%s: the forecast differs from a rebuild (-rebuilt +kept):\n%s", bank, diff)
		}
	}
}

func (r *rig) failedOver() {
	r.Helper()
	_, _, failover, _ := r.watch.figures()
	for _, d := range failover {
		if d > failoverIn {
			r.Errorf("the clock was led again only %s after the leader's death; want within %s", d, failoverIn)
		}
	}
}

// tell logs the figures of a run and keeps the logs of one that failed.
func (r *rig) tell() {
	r.Helper()
	acked, said := r.load.kept()
	lag, of, failover, _ := r.watch.figures()
	r.Logf("%d faults in %s; %d readings and change-outs acknowledged (%d requests sent again), %d messages typed; %d lost, %d doubled",
		r.hurt, time.Since(r.begun).Round(time.Second), len(acked), r.load.resent.Load(), len(said), r.lost, r.doubled)
	r.Logf("longest lag of a forecast %s (%s); failovers %v; %d digests, %d lists; %d posts repeated, %d marked; %d forecasts compared",
		lag.Round(time.Millisecond), of, failover, r.digests, r.lists, r.repeats, r.marked, r.compared)
	if !r.Failed() {
		return
	}
	for _, p := range r.procs {
		raw, err := os.ReadFile(p.log.Name())
		if err != nil {
			continue
		}
		const most = 4000
		r.Logf("the end of %s's log:\n%s", p.name, raw[max(0, len(raw)-most):])
	}
}
