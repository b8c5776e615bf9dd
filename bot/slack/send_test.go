package slack_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/channel"
)

// outbox is a workspace and an edge that only sends.
func outbox(t *testing.T) (*fakeslack.Server, func(channel.Post) (string, error)) {
	t.Helper()
	fake := fakeslack.Start(t, fakeslack.Options{})
	edge := newEdge(t, fake)
	return fake, func(p channel.Post) (string, error) { return edge.Send(t.Context(), p) }
}

func room(thread string) channel.Address { return channel.Address{Channel: plantRoom, Thread: thread} }

func TestSendWhere(t *testing.T) {
	t.Parallel()
	chart := channel.File{Name: "ahu-3.png", Title: "AHU-3 secondary", Data: []byte("png")}
	const root = "1700000000.000100"
	for name, c := range map[string]struct {
		post channel.Post
		want []fakeslack.Post // the fields checked
	}{
		"channel": {
			channel.Post{To: room(""), Text: "due"},
			[]fakeslack.Post{{Channel: plantRoom, Text: "due"}},
		},
		"thread": {
			channel.Post{To: room(root), Text: "due"},
			[]fakeslack.Post{{Channel: plantRoom, Thread: root, Text: "due"}},
		},
		"thread that is none": {
			channel.Post{To: room("terminal-7"), Text: "due"},
			[]fakeslack.Post{{Channel: plantRoom, Text: "due"}},
		},
		"one person's eyes": {
			channel.Post{To: channel.Address{Channel: plantRoom, Thread: root, OnlyFor: ana}, Text: "did you mean bag?"},
			[]fakeslack.Post{{Channel: plantRoom, Thread: root, OnlyFor: ana, Text: "did you mean bag?"}},
		},
		"one person's eyes in direct messages": {
			channel.Post{To: channel.Address{Channel: directRoom, OnlyFor: ana}, Text: "did you mean bag?"},
			[]fakeslack.Post{{Channel: directRoom, Text: "did you mean bag?"}},
		},
		"one person's eyes with a file": {
			channel.Post{To: channel.Address{Channel: plantRoom, Thread: root, OnlyFor: ana}, Text: "chart", Files: []channel.File{chart}},
			[]fakeslack.Post{{Channel: directRoom, Text: "chart"}, {Channel: directRoom, Files: []fakeslack.File{{Title: "AHU-3 secondary"}}}},
		},
		"person with a file": {
			channel.Post{To: channel.Address{Channel: ana}, Text: "chart", Files: []channel.File{chart}},
			[]fakeslack.Post{{Channel: directRoom, Text: "chart"}, {Channel: directRoom, Files: []fakeslack.File{{Title: "AHU-3 secondary"}}}},
		},
		"files in a thread": {
			channel.Post{To: room(root), Text: "digest", Files: []channel.File{chart, {Name: "due.csv", Data: []byte("a,b")}}},
			[]fakeslack.Post{{Channel: plantRoom, Thread: root, Text: "digest"},
				{Channel: plantRoom, Thread: root, Files: []fakeslack.File{{Title: "AHU-3 secondary"}, {Title: "due.csv"}}}},
		},
		"files alone": {
			channel.Post{To: room(""), Files: []channel.File{chart}},
			[]fakeslack.Post{{Channel: plantRoom, Text: "AHU-3 secondary"}, {Channel: plantRoom, Files: []fakeslack.File{{Title: "AHU-3 secondary"}}}},
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			fake, send := outbox(t)
			id, err := send(c.post)
			if err != nil {
				t.Fatal(err)
			}
			posts := fake.Posts()
			if len(posts) != len(c.want) {
				t.Fatalf("%d posts, want %d: %+v", len(posts), len(c.want), posts)
			}
			if id != posts[0].TS {
				t.Errorf("id %s, want that of the first message, %s", id, posts[0].TS)
			}
			for i, w := range c.want {
				p := posts[i]
				if p.Channel != w.Channel || p.Thread != w.Thread || p.OnlyFor != w.OnlyFor || p.Text != w.Text || len(p.Files) != len(w.Files) {
					t.Errorf("post %d: %+v, want %+v", i, p, w)
				}
				for k := range w.Files {
					if p.Files[k].Title != w.Files[k].Title {
						t.Errorf("file titled %q, want %q", p.Files[k].Title, w.Files[k].Title)
					}
				}
			}
			if n := len(posts[len(posts)-1].Files); n > 0 && string(posts[len(posts)-1].Files[0].Data) != "png" {
				t.Error("the file's bytes did not arrive")
			}
		})
	}
}

// Every message asks the platform to leave the text alone.
func TestSendPlain(t *testing.T) {
	t.Parallel()
	fake, send := outbox(t)
	text := "AHU-3 *bag* 24*24*12 <@U0ANA> <!channel> @here #boiler https://bms.example"
	if _, err := send(channel.Post{To: room(""), Text: text}); err != nil {
		t.Fatal(err)
	}
	form := fake.Calls("chat.postMessage")[0].Form
	for name, want := range map[string]string{
		"mrkdwn": "false", "parse": "none", "link_names": "false", "unfurl_links": "false", "unfurl_media": "false",
		"text": "AHU-3 *bag* 24*24*12 &lt;@U0ANA&gt; &lt;!channel&gt; @here #boiler https://bms.example",
	} {
		if got := form.Get(name); got != want {
			t.Errorf("%s = %q, want %q", name, got, want)
		}
	}
}

func TestSendChoices(t *testing.T) {
	t.Parallel()
	fake, send := outbox(t)
	var choices []channel.Choice
	for i := range 30 {
		choices = append(choices, channel.Choice{Label: fmt.Sprintf("bank %d & <more>", i), Action: "answer", Value: fmt.Sprint(i)})
	}
	choices[29].Label = strings.Repeat("secondary & ", 20)
	id, err := send(channel.Post{To: room(""), Text: "Which <bank>?", Choices: choices})
	if err != nil {
		t.Fatal(err)
	}
	p := fake.Posts()[0]
	if p.TS != id || p.Text != "Which <bank>?" || p.Raw != "Which &lt;bank&gt;?" || len(p.Buttons) != 30 {
		t.Fatalf("post %+v", p)
	}
	if strings.Contains(string(p.Blocks), "mrkdwn") {
		t.Error("blocks are to be plain text")
	}
	if got := p.Buttons[7]; got.Label != "bank 7 & <more>" || got.Value != "7" {
		t.Errorf("button %+v", got)
	}
	if got := p.Buttons[29].Label; !strings.HasSuffix(got, "…") || !strings.HasPrefix(choices[29].Label, strings.TrimSuffix(got, "…")) {
		t.Errorf("long label %q", got)
	}
}

func TestSendLongText(t *testing.T) {
	t.Parallel()
	var rows []string
	for i := range 400 {
		rows = append(rows, fmt.Sprintf("AHU-%d secondary: %d Pa & rising, due < 9 days", i, 100+i))
	}
	text := strings.Join(rows, "\n")
	for name, choices := range map[string][]channel.Choice{
		"text":         nil,
		"with buttons": {{Label: "read", Action: "steps-read"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			fake, send := outbox(t)
			id, err := send(channel.Post{To: room("1700000000.000100"), Text: text, Choices: choices})
			if err != nil {
				t.Fatal(err)
			}
			posts := fake.Posts()
			var pieces []string
			for i, p := range posts {
				if limit := map[bool]int{true: 3000, false: 4000}[len(choices) > 0]; len(p.Raw) > limit {
					t.Errorf("message %d has %d characters", i, len(p.Raw))
				}
				if last := i == len(posts)-1; len(p.Buttons) > 0 != (last && choices != nil) {
					t.Errorf("message %d has %d buttons", i, len(p.Buttons))
				}
				if p.Thread != "1700000000.000100" {
					t.Errorf("message %d is outside the thread", i)
				}
				pieces = append(pieces, p.Text)
			}
			if strings.Join(pieces, "\n") != text {
				t.Error("text was changed, or cut inside a row")
			}
			want := posts[0].TS
			if choices != nil {
				want = posts[len(posts)-1].TS
			}
			if id != want {
				t.Errorf("id %s, want %s", id, want)
			}
		})
	}
}

func TestSendErrors(t *testing.T) {
	t.Parallel()
	const plain, retry, refused, unseen = "plain", "retry", "refused", "unseen"
	for name, c := range map[string]struct {
		fault fakeslack.Fault
		kind  string
		after time.Duration
	}{
		"rate limit":               {fakeslack.Fault{Status: 429, RetryAfter: 30 * time.Second}, retry, 30 * time.Second},
		"rate limit without time":  {fakeslack.Fault{Status: 429}, retry, 10 * time.Second},
		"rate limit in the answer": {fakeslack.Fault{Error: "ratelimited"}, retry, 10 * time.Second},
		"no such channel":          {fakeslack.Fault{Error: "channel_not_found"}, refused, 0},
		"bot not in channel":       {fakeslack.Fault{Error: "not_in_channel"}, refused, 0},
		"archived":                 {fakeslack.Fault{Error: "is_archived"}, refused, 0},
		"bot removed":              {fakeslack.Fault{Error: "account_inactive"}, refused, 0},
		"token wrong":              {fakeslack.Fault{Error: "invalid_auth"}, plain, 0},
		"scope missing":            {fakeslack.Fault{Error: "missing_scope"}, plain, 0},
		"trouble over there":       {fakeslack.Fault{Error: "internal_error"}, plain, 0},
		"server error":             {fakeslack.Fault{Status: 503}, plain, 0},
		"gateway lost the answer":  {fakeslack.Fault{Status: 502}, unseen, 0},
		"connection cut":           {fakeslack.Fault{Cut: true}, unseen, 0},
	} {
		for method, post := range map[string]channel.Post{
			"chat.postMessage":             {To: room(""), Text: "due"},
			"chat.postEphemeral":           {To: channel.Address{Channel: plantRoom, OnlyFor: ana}, Text: "due"},
			"files.getUploadURLExternal":   {To: room(""), Text: "due", Files: []channel.File{{Name: "a", Data: []byte("a")}}},
			"files.completeUploadExternal": {To: room(""), Text: "due", Files: []channel.File{{Name: "a", Data: []byte("a")}}},
		} {
			t.Run(name+"/"+method, func(t *testing.T) {
				t.Parallel()
				fake, send := outbox(t)
				fake.Fail(method, c.fault)
				_, err := send(post)
				if err == nil {
					t.Fatal("no error")
				}
				var limit *channel.RetryError
				isRetry, isRefused := errors.As(err, &limit), errors.Is(err, channel.ErrRefused)
				if isRetry != (c.kind == retry) || isRefused != (c.kind == refused) {
					t.Fatalf("%v: retry %v, refused %v", err, isRetry, isRefused)
				}
				shows := method != "files.getUploadURLExternal" // people see nothing of it
				if errors.Is(err, channel.ErrUnseen) != (shows && c.kind == unseen) {
					t.Errorf("%v: unseen %v, of kind %s", err, errors.Is(err, channel.ErrUnseen), c.kind)
				}
				if isRetry && limit.After != c.after {
					t.Errorf("after %v, want %v", limit.After, c.after)
				}
				if _, err := send(post); err != nil {
					t.Errorf("once more: %v", err)
				}
			})
		}
	}
	t.Run("upload", func(t *testing.T) {
		t.Parallel()
		fake, send := outbox(t)
		fake.Fail("upload", fakeslack.Fault{Status: 500})
		_, err := send(channel.Post{To: room(""), Text: "due", Files: []channel.File{{Name: "a", Data: []byte("a")}}})
		if err == nil || errors.Is(err, channel.ErrRefused) || strings.Contains(err.Error(), "/upload/") {
			t.Errorf("error %v", err)
		}
	})
}

func TestSendNeverPossible(t *testing.T) {
	t.Parallel()
	for name, p := range map[string]channel.Post{
		"nothing to say":    {To: room(""), Text: " \n "},
		"empty file":        {To: room(""), Text: "x", Files: []channel.File{{Name: "a.png"}}},
		"file without name": {To: room(""), Text: "x", Files: []channel.File{{Data: []byte("a")}}},
		"no label":          {To: room(""), Text: "x", Choices: []channel.Choice{{Action: "answer"}}},
		"no action":         {To: room(""), Text: "x", Choices: []channel.Choice{{Label: "yes"}}},
		"value too long":    {To: room(""), Text: "x", Choices: []channel.Choice{{Label: "yes", Action: "answer", Value: strings.Repeat("v", 2001)}}},
		"action too long":   {To: room(""), Text: "x", Choices: []channel.Choice{{Label: "yes", Action: strings.Repeat("a", 250)}}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			fake, send := outbox(t)
			if _, err := send(p); !errors.Is(err, channel.ErrRefused) {
				t.Errorf("error %v, want ErrRefused", err)
			}
			if n := len(fake.Calls("")); n != 0 {
				t.Errorf("%d calls were made", n)
			}
		})
	}
}

// A post of several messages that fails midway goes on where it stopped.
func TestSendGoesOn(t *testing.T) {
	t.Parallel()
	fake, send := outbox(t)
	line := strings.Repeat("x", 3000)
	post := channel.Post{To: room(""), Text: line + "\n" + line + "\n" + line, Files: []channel.File{{Name: "a", Data: []byte("a")}}}
	fake.Fail("chat.postMessage", fakeslack.Fault{Delay: time.Nanosecond}) // the first passes
	fake.Fail("chat.postMessage", fakeslack.Fault{Status: 429, RetryAfter: time.Second})
	fake.Fail("upload", fakeslack.Fault{Status: 500})
	var limit *channel.RetryError
	if _, err := send(post); !errors.As(err, &limit) {
		t.Fatalf("first: %v", err)
	}
	if _, err := send(post); err == nil {
		t.Fatal("second: no error")
	}
	id, err := send(post)
	if err != nil {
		t.Fatal(err)
	}
	posts := fake.Posts()
	if len(posts) != 4 || id != posts[0].TS {
		t.Errorf("%d posts, id %s", len(posts), id)
	}
	if _, err := send(post); err != nil {
		t.Fatal(err)
	}
	if n := len(fake.Posts()); n != 8 {
		t.Errorf("the same post sent anew made %d messages, want 4 more", n-4)
	}
}

func TestSendBesideAClosedThread(t *testing.T) {
	t.Parallel()
	fake, send := outbox(t)
	fake.Fail("chat.postMessage", fakeslack.Fault{Error: "thread_not_found"})
	if _, err := send(channel.Post{To: room("1700000000.000100"), Text: "took #12 back"}); err != nil {
		t.Fatal(err)
	}
	if p := fake.Posts()[0]; p.Thread != "" || p.Channel != plantRoom {
		t.Errorf("post %+v", p)
	}
}
