package app_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"clogwise/bot/slack/fakeslack"
	"clogwise/bot/terminal"
	"clogwise/internal/app"
	"clogwise/internal/channel"
	"clogwise/internal/config"
	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
)

// conversations is the folder of the talks; its README explains the form.
const conversations = "../../testdata/conversations"

// conversation is one talk of a file: what people do, and what comes of it.
type conversation struct {
	name  string
	room  string // site whose channel it is held in
	past  bool   // with half a year of readings
	lang  string // of the sites, where it is not English
	other bool   // an English talk held where another language is spoken
	steps []step
}

// step is something a person does, with what is expected of the answer.
type step struct {
	line  int
	who   string
	does  string // "says", "edits", "deletes", "presses", "drops", "fills"
	text  string
	wants []want
}

// want is one expectation.
type want struct {
	line int
	kind string // "has", "lacks", "nothing", "told", "recorded"
	who  string // of "told"
	text string
}

var (
	saysLine = regexp.MustCompile(`^(\w+): (.+)$`)
	doesLine = regexp.MustCompile(`^(\w+) (edits|presses|drops|fills in): (.+)$`)
	lateLine = regexp.MustCompile(`^\((\d+) (minutes?|hours?|days?) later\)$`)
	toldLine = regexp.MustCompile(`^(\w+) is told: (.+)$`)
)

// readConversations reads a file of talks.
func readConversations(t *testing.T, path string) (out []conversation) {
	t.Helper()
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i, line := range strings.Split(string(raw), "\n") {
		line, n := strings.TrimSpace(line), i+1
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		if title, ok := strings.CutPrefix(line, "== "); ok {
			out = append(out, conversation{name: title, room: "clinic"})
			continue
		}
		if len(out) == 0 {
			t.Fatalf("%s:%d: a talk begins with == and its title", path, n)
		}
		c := &out[len(out)-1]
		if !c.take(n, line) {
			t.Fatalf("%s:%d: not understood: %q", path, n, line)
		}
	}
	return out
}

// take reads one line of a talk.
func (c *conversation) take(n int, line string) bool {
	do := func(who, does, text string) bool {
		c.steps = append(c.steps, step{line: n, who: who, does: does, text: text})
		return true
	}
	expect := func(kind, who, text string) bool {
		if len(c.steps) == 0 {
			return false
		}
		last := &c.steps[len(c.steps)-1]
		last.wants = append(last.wants, want{n, kind, who, text})
		return true
	}
	switch {
	case line == "> nothing":
		return expect("nothing", "", "")
	case strings.HasPrefix(line, "> "):
		return expect("has", "", line[2:])
	case strings.HasPrefix(line, "not > "):
		return expect("lacks", "", line[6:])
	case strings.HasPrefix(line, "recorded: "):
		return expect("recorded", "", line[10:])
	case line == "with half a year of readings":
		c.past = true
		return true
	case strings.HasPrefix(line, "where people speak "):
		c.lang = map[string]string{"German": "de", "Spanish": "es"}[line[len("where people speak "):]]
		return c.lang != ""
	case strings.HasPrefix(line, "in the channel of "):
		c.room = line[len("in the channel of "):]
		return true
	case strings.HasSuffix(line, " deletes"):
		return do(strings.TrimSuffix(line, " deletes"), "deletes", "")
	case line == "the program starts anew":
		return do("", "restart", "")
	}
	if m := toldLine.FindStringSubmatch(line); m != nil {
		return expect("told", m[1], m[2])
	}
	if m := lateLine.FindStringSubmatch(line); m != nil {
		return do("", "later", m[1]+" "+strings.TrimSuffix(m[2], "s"))
	}
	if m := doesLine.FindStringSubmatch(line); m != nil {
		return do(m[1], strings.TrimSuffix(m[2], " in"), m[3])
	}
	if m := saysLine.FindStringSubmatch(line); m != nil {
		return do(m[1], "says", m[2])
	}
	return false
}

// stage is a channel in which a talk is held.
type stage interface {
	// act does a step and returns what came back to it, and what others were told.
	act(t *testing.T, s step) (answer string, told map[string]string)
	restart(t *testing.T)
	close()
}

// props is what both stages have.
type props struct {
	app   *app.App
	cfg   config.Config
	clock *clock
	room  string
}

type clock struct {
	mu sync.Mutex
	t  time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

func (c *clock) add(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
}

// personID is the id of a person in the workspace; strangers have one too.
func personID(name string) string { return "U0" + strings.ToUpper(name) }

func roomID(site string) string { return "C0" + strings.ToUpper(site) }

// crewOf lists everybody in the demo's register.
func everybody() []string {
	var out []string
	for _, s := range demo.Portfolio().Sites {
		out = slices.Concat(out, s.Supervisors, s.Crew)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// templates are ledgers to copy: filling one for each talk would take minutes.
type templates struct {
	dir  string
	mu   sync.Mutex
	made map[string]string
}

// ledger is a copy of a ledger with the demo's register, its channels named as
// the platform does, and with or without a past.
func (ts *templates) ledger(t *testing.T, chat, past bool, lang string) string {
	t.Helper()
	key := fmt.Sprintf("%t-%t-%s", chat, past, lang)
	ts.mu.Lock()
	defer ts.mu.Unlock()
	if ts.made[key] == "" {
		cfg, err := config.Load("", nil)
		if err != nil {
			t.Fatal(err)
		}
		cfg.Data, cfg.Ledger = ts.dir, filepath.Join(ts.dir, key+".db")
		a, err := app.Open(context.Background(), cfg, app.Options{Now: func() time.Time { return present }})
		if err != nil {
			t.Fatal(err)
		}
		c := demo.Portfolio()
		var history []entry.Entry
		if past {
			history = demo.History(c, present, 1)
		}
		for i := range c.Sites {
			c.Sites[i].Language = lang
		}
		if chat {
			for i := range c.Sites {
				c.Sites[i].Channel = roomID(c.Sites[i].ID)
			}
		}
		if err := errors.Join(a.Fill(context.Background(), c, history, nil), a.Store.Backup(context.Background(), filepath.Join(ts.dir, key+"-copy.db")), a.Close()); err != nil {
			t.Fatal(err)
		}
		ts.made[key] = filepath.Join(ts.dir, key+"-copy.db")
	}
	raw, err := os.ReadFile(ts.made[key])
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "ledger.db")
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func (p *props) open(t *testing.T) {
	t.Helper()
	a, err := app.Open(t.Context(), p.cfg, app.Options{Log: slog.New(slog.DiscardHandler), Now: p.clock.now})
	if err != nil {
		t.Fatal(err)
	}
	p.app = a
}

// recorded lists what stands in the ledger beside the register and the past.
func (p *props) recorded(t *testing.T, after int64) (out []string) {
	t.Helper()
	all, err := p.app.Store.Entries(t.Context(), ledger.Filter{AfterSeq: after})
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range entry.Standing(all) {
		if x.Kind == entry.KindRegister || x.Kind == entry.KindStepsSent {
			continue
		}
		line := strings.ReplaceAll(string(x.Kind), "-", " ") + " " + string(x.Place)
		switch b := x.Body.(type) {
		case entry.Reading:
			line += fmt.Sprintf(" %.0f Pa", b.Pa)
		case entry.Swap:
			if b.Count != nil {
				line += fmt.Sprintf(" %d filters", *b.Count)
			}
			if b.CleanPa != nil {
				line += fmt.Sprintf(" clean %.0f Pa", *b.CleanPa)
			}
		case entry.Stock:
			line += fmt.Sprintf(" %s %d", b.Item, b.Count)
		}
		out = append(out, line)
	}
	return out
}

func (p *props) config(t *testing.T, ts *templates, chat bool, c conversation) {
	t.Helper()
	cfg, err := config.Load("", nil)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Ledger = ts.ledger(t, chat, c.past, c.lang)
	cfg.Data, cfg.HTTP.Listen = filepath.Dir(cfg.Ledger), ""
	p.cfg, p.clock = cfg, &clock{t: present}
}

// slackStage holds a talk in a fake workspace.
type slackStage struct {
	props
	fake *fakeslack.Server
	stop func()
	last map[string]string // by person: timestamp of their last message
	seen int               // posts looked at
}

func newSlackStage(t *testing.T, ts *templates, c conversation) stage {
	t.Helper()
	s := &slackStage{last: map[string]string{}}
	s.config(t, ts, true, c)
	s.room = roomID(c.room)
	s.fake = fakeslack.New(fakeslack.Options{Clock: s.clock.now})
	s.cfg.Slack = config.Slack{BotToken: fakeslack.BotToken, AppToken: fakeslack.AppToken, APIURL: s.fake.APIURL()}
	for _, name := range everybody() {
		s.cfg.Slack.People = append(s.cfg.Slack.People, name+" = "+personID(name))
	}
	s.start(t)
	return s
}

func (s *slackStage) start(t *testing.T) {
	t.Helper()
	s.open(t)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	before := s.fake.Sockets()
	go func() { done <- s.app.Slack().Run(ctx, s.app.Engine) }()
	s.stop = func() {
		cancel()
		<-done
		_ = s.app.Close() // the queue may have been closed by what it was told to do
	}
	if err := s.fake.WaitConnected(t.Context(), before+1); err != nil {
		t.Fatal(err)
	}
}

func (s *slackStage) close() { s.stop(); s.fake.Close() }

func (s *slackStage) restart(t *testing.T) { s.stop(); s.start(t) }

func (s *slackStage) settle(t *testing.T) {
	t.Helper()
	if err := s.fake.WaitIdle(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := s.app.Settle(t.Context(), "slack", s.app.Slack()); err != nil {
		t.Fatal(err)
	}
}

func (s *slackStage) act(t *testing.T, st step) (answer string, told map[string]string) {
	t.Helper()
	who := personID(st.who)
	s.fake.AddUser(fakeslack.User{ID: who, DisplayName: st.who})
	var faults map[string]string
	switch st.does {
	case "says":
		s.last[who] = s.fake.Say(s.room, who, strings.ReplaceAll(st.text, "⏎", "\n"))
	case "edits":
		if err := s.fake.Edit(s.room, s.last[who], strings.ReplaceAll(st.text, "⏎", "\n")); err != nil {
			t.Fatal(err)
		}
	case "deletes":
		if err := s.fake.Delete(s.room, s.last[who]); err != nil {
			t.Fatal(err)
		}
	case "drops":
		raw, err := os.ReadFile(filepath.Join(conversations, "files", st.text))
		if err != nil {
			t.Fatal(err)
		}
		s.fake.Say(s.room, who, "", s.fake.WithTable(st.text, raw))
	case "presses":
		s.press(t, who, st.text)
	case "fills":
		faults = s.fill(t, who, st.text)
	}
	s.settle(t)
	told = map[string]string{}
	for _, p := range s.fake.Posts()[s.seen:] {
		s.seen++
		if strings.HasPrefix(p.Channel, "D") {
			told[p.Channel] += p.Text + "\n"
			continue
		}
		answer += p.Text + "\n"
		for _, f := range p.Files {
			answer += "File: " + f.Name + "\n"
		}
		for _, b := range p.Buttons {
			answer += "[" + b.Label + "]\n"
		}
	}
	for _, f := range slices.Sorted(mapsValues(faults)) {
		answer += f + "\n"
	}
	named := map[string]string{}
	for _, name := range everybody() {
		named[name] = told["D"+personID(name)[1:]]
	}
	return answer, named
}

// press presses the newest button with a label.
func (s *slackStage) press(t *testing.T, who, label string) {
	t.Helper()
	for _, p := range slices.Backward(s.fake.Posts()) {
		if err := s.fake.Press(p, label, who); err == nil {
			return
		}
	}
	t.Fatalf("no button %q", label)
}

// fill opens a form by command and hands it in: "round AHU-3: fan = 45 Hz".
func (s *slackStage) fill(t *testing.T, who, text string) map[string]string {
	t.Helper()
	ask, values, _ := strings.Cut(text, ": ")
	n := s.fake.Views()
	if label, ok := strings.CutPrefix(ask, "press "); ok {
		s.press(t, who, label)
	} else {
		s.fake.Command(s.room, who, "/clogwise", ask)
	}
	v, err := s.fake.WaitView(t.Context(), n+1)
	if err != nil {
		t.Fatal(err)
	}
	given := map[string]string{}
	for _, f := range v.Fields {
		if value, ok := valueFor(f.Label, values); ok {
			given[f.Block] = value
		}
	}
	faults, err := s.fake.Submit(t.Context(), v, who, given)
	if err != nil {
		t.Fatal(err)
	}
	return faults
}

// valueFor finds what a talk writes into a field, by the beginning of its label.
func valueFor(label, values string) (string, bool) {
	for _, part := range strings.Split(values, "; ") {
		name, value, ok := strings.Cut(part, " = ")
		if ok && strings.HasPrefix(strings.ToLower(label), strings.ToLower(strings.TrimSpace(name))) {
			return value, true
		}
	}
	return "", false
}

func mapsValues(m map[string]string) func(func(string) bool) {
	return func(yield func(string) bool) {
		for _, v := range m {
			if !yield(v) {
				return
			}
		}
	}
}

// terminalStage holds a talk in the terminal channel.
type terminalStage struct {
	props
	in   *io.PipeWriter
	out  *output
	stop func()
	read int // how much of the output was looked at
	term *terminal.Channel
	as   string
}

// output is what the terminal has printed; mark waits until it says so.
type output struct {
	mu   sync.Mutex
	buf  bytes.Buffer
	more chan struct{}
}

func (o *output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	n, err := o.buf.Write(p)
	close(o.more)
	o.more = make(chan struct{})
	return n, err
}

// until waits for a mark after a position and returns what stands between.
func (o *output) until(ctx context.Context, from int, mark string) (string, int, error) {
	for {
		o.mu.Lock()
		rest, more := o.buf.String()[from:], o.more
		o.mu.Unlock()
		if before, _, ok := strings.Cut(rest, mark); ok {
			return before, from + len(before) + len(mark), nil
		}
		select {
		case <-more:
		case <-ctx.Done():
			return "", from, fmt.Errorf("waiting for %q after %q: %w", mark, rest, ctx.Err())
		}
	}
}

func newTerminalStage(t *testing.T, ts *templates, c conversation) stage {
	t.Helper()
	s := &terminalStage{out: &output{more: make(chan struct{})}}
	s.config(t, ts, false, c)
	s.room = c.room
	s.start(t)
	return s
}

func (s *terminalStage) start(t *testing.T) {
	t.Helper()
	s.open(t)
	r, w := io.Pipe()
	s.in = w
	s.term = &terminal.Channel{
		In: r, Out: s.out, As: "Nobody", Channel: s.room, Channels: []string{"clinic", "hall", "works"},
		Files: filepath.Join(s.cfg.Data, "pictures"), Now: s.clock.now, Wait: time.Minute,
		Recall: func(ctx context.Context, place string) ([]channel.Choice, error) {
			return s.app.LastChoices(ctx, terminal.Platform, place)
		},
		Quiet: func(ctx context.Context) (bool, error) { return true, s.app.Settle(ctx, terminal.Platform, s.term) },
	}
	done := make(chan error, 1)
	go func() { done <- s.term.Run(context.WithoutCancel(t.Context()), s.app.Engine) }()
	s.stop = func() {
		_ = w.Close()
		<-done
		_ = s.app.Close()
	}
}

func (s *terminalStage) close() { s.stop() }

func (s *terminalStage) restart(t *testing.T) { s.stop(); s.start(t) }

// type_ types lines and returns what was printed to them.
func (s *terminalStage) typed(t *testing.T, lines ...string) string {
	t.Helper()
	for _, line := range append(lines, "/channel "+s.room) {
		if _, err := io.WriteString(s.in, line+"\n"); err != nil {
			t.Fatal(err)
		}
	}
	said, at, err := s.out.until(t.Context(), s.read, "You are now in "+s.room+".\n")
	if err != nil {
		t.Fatal(err)
	}
	s.read = at
	return said
}

func (s *terminalStage) act(t *testing.T, st step) (answer string, told map[string]string) {
	t.Helper()
	s.typed(t, "/as "+st.who)
	s.as = st.who
	switch st.does {
	case "says":
		answer = s.typed(t, st.text)
	case "edits":
		answer = s.typed(t, "/edit "+st.text)
	case "deletes":
		answer = s.typed(t, "/delete")
	case "drops":
		answer = s.typed(t, "import "+filepath.Join(conversations, "files", st.text))
	case "presses":
		answer = s.press(t, st.text)
	case "fills":
		answer = s.fill(t, st.text)
	}
	answer = strings.TrimPrefix(answer, "> "+strings.ReplaceAll(st.text, "⏎", "⏎")+"\n")
	told = map[string]string{}
	var here []string
	for _, block := range strings.Split(answer, "\n\n") {
		to, rest, _ := strings.Cut(block, "\n")
		if name, ok := strings.CutPrefix(to, "[to "); ok {
			told[strings.TrimSuffix(name, "]")] += rest + "\n"
			continue
		}
		here = append(here, block)
	}
	return strings.Join(here, "\n\n"), told
}

var buttonLine = regexp.MustCompile(`(?m)^\[(\d+)\] (.+)$`)

func (s *terminalStage) press(t *testing.T, label string) string {
	t.Helper()
	if label == "Undo" {
		return s.typed(t, "undo")
	}
	s.out.mu.Lock()
	all := s.out.buf.String()
	s.out.mu.Unlock()
	for _, m := range slices.Backward(buttonLine.FindAllStringSubmatch(all, -1)) {
		if m[2] == label {
			return s.typed(t, "/press "+m[1])
		}
	}
	t.Fatalf("no button %q", label)
	return ""
}

// fill answers a form's questions one by one; faults end it.
func (s *terminalStage) fill(t *testing.T, text string) string {
	t.Helper()
	ask, values, _ := strings.Cut(text, ": ")
	var said string
	if label, ok := strings.CutPrefix(ask, "press "); ok {
		said = s.press(t, label)
	} else {
		said = s.typed(t, ask)
	}
	var asked []string
	for {
		lines := strings.Split(strings.TrimRight(said, "\n"), "\n")
		last := lines[len(lines)-1]
		if !strings.HasSuffix(last, ":") {
			return said
		}
		if slices.Contains(asked, last) { // asked again: what is wrong stands before it
			s.typed(t, "/cancel")
			return said
		}
		asked = append(asked, last)
		value, ok := valueFor(last, values)
		if !ok {
			value = "-"
		}
		said = s.typed(t, value)
	}
}

// TestConversations holds every talk in testdata/conversations in the fake
// workspace and in the terminal: both must come to the same.
func TestConversations(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob(filepath.Join(conversations, "*.talk"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no talks: %v", err)
	}
	ts := &templates{dir: t.TempDir(), made: map[string]string{}}
	total := 0
	for _, file := range files {
		for _, c := range readConversations(t, file) {
			total++
			name := strings.TrimSuffix(filepath.Base(file), ".talk") + "/" + c.name
			for platform, build := range map[string]func(*testing.T, *templates, conversation) stage{"slack": newSlackStage, "terminal": newTerminalStage} {
				t.Run(name+"/"+platform, func(t *testing.T) {
					t.Parallel()
					s := build(t, ts, c)
					defer s.close()
					c.play(t, s, file)
				})
			}
		}
	}
	if total < 120 {
		t.Errorf("%d talks, want 120 or more", total)
	}
}

// TestConversationsElsewhere holds the English talks, typed as they are, where people
// speak German and Spanish: the same must be recorded, buttons and fields must bear
// the words of the language, and banks too.
func TestConversationsElsewhere(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("the talks themselves are held in English")
	}
	files, err := filepath.Glob(filepath.Join(conversations, "*.talk"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no talks: %v", err)
	}
	ts := &templates{dir: t.TempDir(), made: map[string]string{}}
	for _, file := range files {
		for _, c := range readConversations(t, file) {
			for _, lang := range locale.Languages()[1:] {
				if c.lang != "" {
					continue
				}
				c.lang, c.other = lang, true
				t.Run(lang+"/"+strings.TrimSuffix(filepath.Base(file), ".talk")+"/"+c.name, func(t *testing.T) {
					t.Parallel()
					s := newSlackStage(t, ts, c)
					defer s.close()
					c.play(t, s, file)
				})
				c.lang = ""
			}
		}
	}
}

// abroad is a step of an English talk in the language of the place: what stands on
// buttons and forms is translated, what people type is not.
func (c conversation) abroad(st step) step {
	if !c.other {
		return st
	}
	in := locale.Of(c.lang)
	say := func(label string) string {
		for _, stage := range []plant.Stage{plant.Primary, plant.Secondary, plant.Third, plant.Return} {
			label = regexp.MustCompile(`\b`+string(stage)+`\b`).ReplaceAllString(in.Retell(label), stage.Words(in))
		}
		return label
	}
	switch st.does {
	case "presses":
		st.text = say(st.text)
	case "fills":
		ask, values, _ := strings.Cut(st.text, ": ")
		if label, ok := strings.CutPrefix(ask, "press "); ok {
			ask = "press " + say(label)
		}
		parts := strings.Split(values, "; ")
		for i, part := range parts {
			name, value, _ := strings.Cut(part, " = ")
			parts[i] = say(name) + " = " + value
		}
		st.text = ask + ": " + strings.Join(parts, "; ")
	}
	return st
}

var englishStage = regexp.MustCompile(`(?i)\b(primary|secondary|third|return)\b`)

// quotedWords are a person's own, told back, and the ids of banks, also as names of files.
var quotedWords = regexp.MustCompile(`"[^"]*"|“[^”]*”|[a-z0-9-]+/[a-z0-9-]+/[a-z0-9-]+|[a-z0-9-]+\.(png|xlsx|csv)`)

func (c conversation) stagesAreTranslated(t *testing.T, at, text, answer string, told map[string]string) {
	t.Helper()
	for _, said := range append(slices.Collect(maps.Values(told)), answer) {
		for line := range strings.Lines(said) {
			if found := englishStage.FindString(quotedWords.ReplaceAllString(line, "")); found != "" {
				t.Errorf("%s, %s: %q is answered with %q in\n%s", at, c.lang, text, found, line)
			}
		}
	}
}

func (c conversation) play(t *testing.T, s stage, file string) {
	t.Helper()
	p := propsOf(s)
	head, err := p.app.Store.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, st := range c.steps {
		var answer string
		var told map[string]string
		switch st.does {
		case "restart":
			s.restart(t)
		case "later":
			n, unit, _ := strings.Cut(st.text, " ")
			count, err := strconv.Atoi(n)
			if err != nil {
				t.Fatal(err)
			}
			p.clock.add(time.Duration(count) * map[string]time.Duration{"minute": time.Minute, "hour": time.Hour, "day": 24 * time.Hour}[unit])
		default:
			p.clock.add(time.Minute)
			answer, told = s.act(t, c.abroad(st))
			if c.lang != "" {
				c.stagesAreTranslated(t, fmt.Sprintf("%s:%d", filepath.Base(file), st.line), st.text, answer, told)
			}
		}
		for _, w := range st.wants {
			if c.other && (w.kind == "has" || w.kind == "lacks" || w.kind == "told") {
				continue
			}
			at := fmt.Sprintf("%s:%d", filepath.Base(file), w.line)
			switch w.kind {
			case "has":
				if !strings.Contains(answer, w.text) {
					t.Errorf("%s: the answer to %q lacks %q:\n%s", at, st.text, w.text, answer)
				}
			case "lacks":
				if strings.Contains(answer, w.text) {
					t.Errorf("%s: the answer to %q holds %q:\n%s", at, st.text, w.text, answer)
				}
			case "nothing":
				if strings.TrimSpace(answer) != "" {
					t.Errorf("%s: %q is answered:\n%s", at, st.text, answer)
				}
			case "told":
				if !strings.Contains(told[w.who], w.text) {
					t.Errorf("%s: %s is not told %q but %q", at, w.who, w.text, told[w.who])
				}
			case "recorded":
				got := strings.Join(p.recorded(t, head), "; ")
				if got == "" {
					got = "nothing"
				}
				if got != w.text {
					t.Errorf("%s: recorded is %s, want %s", at, got, w.text)
				}
			}
		}
	}
}

func propsOf(s stage) *props {
	switch s := s.(type) {
	case *slackStage:
		return &s.props
	case *terminalStage:
		return &s.props
	}
	return nil
}
