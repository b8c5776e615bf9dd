package fakeslack

import (
	"encoding/json"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"
)

// Call is one call of the Web API as it arrived, without its token.
type Call struct {
	Method string
	Form   url.Values
}

// Post is something the bot posted.
type Post struct {
	Channel string
	TS      string
	Thread  string // timestamp of the message it replies to
	OnlyFor string // ephemeral: the one person who sees it
	Raw     string // the text argument as sent
	Text    string // what people read: the blocks' text if there are any, else Raw, unescaped
	Blocks  json.RawMessage
	Buttons []Button
	Files   []File
	Updated int // times changed by chat.update
	Via     string
	Arrived time.Time // by the machine's clock
}

// Button is a button under a post.
type Button struct {
	Label, ActionID, BlockID, Value string
}

// File is an uploaded file.
type File struct {
	ID, Name, Title string
	Data            []byte
}

func (p *Post) clone() Post {
	c := *p
	c.Buttons, c.Files = slices.Clone(p.Buttons), slices.Clone(p.Files)
	return c
}

func writeJSON(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	_ = json.NewEncoder(w).Encode(v) // the reader may have gone: nothing to do about it
}

func (s *Server) serveMethod(w http.ResponseWriter, r *http.Request) {
	method := r.PathValue("method")
	form, token, err := readCall(r)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	s.mu.Lock()
	s.calls = append(s.calls, Call{Method: method, Form: form})
	fault, faulty := s.takeFault(method)
	s.notify()
	s.mu.Unlock()
	if faulty && s.strike(w, r, fault) {
		return
	}
	if s.opts.Scopes != "-" && method == "auth.test" {
		w.Header().Set("X-OAuth-Scopes", s.opts.Scopes)
	}
	answer := s.answer(method, form, token)
	if fault.CutAfter {
		panic(http.ErrAbortHandler)
	}
	writeJSON(w, answer)
}

// readCall reads a call's arguments, whether form or JSON, and its token.
func readCall(r *http.Request) (url.Values, string, error) {
	token := strings.TrimPrefix(r.Header.Get("Authorization"), "Bearer ")
	kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if kind == "application/json" {
		fields := map[string]any{}
		if err := json.NewDecoder(r.Body).Decode(&fields); err != nil && err != io.EOF {
			return nil, "", err
		}
		form := url.Values{}
		for name, value := range fields {
			if text, ok := value.(string); ok {
				form.Set(name, text)
				continue
			}
			js, err := json.Marshal(value)
			if err != nil {
				return nil, "", err
			}
			form.Set(name, string(js))
		}
		return form, token, nil
	}
	if err := r.ParseForm(); err != nil {
		return nil, "", err
	}
	if t := r.PostForm.Get("token"); t != "" {
		token = t
	}
	r.PostForm.Del("token")
	return r.PostForm, token, nil
}

func refuse(name string) map[string]any { return map[string]any{"ok": false, "error": name} }

// answer does what a method asks and returns the JSON to send.
func (s *Server) answer(method string, form url.Values, token string) map[string]any {
	want := BotToken
	if method == "apps.connections.open" {
		want = AppToken
	}
	if token != want {
		return refuse("invalid_auth")
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	defer s.notify()
	switch method {
	case "apps.connections.open":
		ticket := s.nextID("ticket")
		s.tickets[ticket] = true
		return map[string]any{"ok": true, "url": "ws" + strings.TrimPrefix(s.http.URL, "http") + "/link?ticket=" + ticket}
	case "auth.test":
		return map[string]any{
			"ok": true, "url": "https://plantcrew.example/", "team": TeamName, "user": BotName,
			"team_id": Team, "user_id": BotUser, "bot_id": BotID,
		}
	case "chat.postMessage", "chat.postEphemeral":
		return s.post(method, form)
	case "chat.update":
		return s.update(form)
	case "users.info":
		u, ok := s.users[form.Get("user")]
		if !ok {
			return refuse("user_not_found")
		}
		return map[string]any{"ok": true, "user": map[string]any{
			"id": u.ID, "name": u.Name, "real_name": u.RealName,
			"profile": map[string]string{"display_name": u.DisplayName, "real_name": u.RealName},
		}}
	case "usergroups.users.list":
		users, ok := s.groups[form.Get("usergroup")]
		if !ok {
			return refuse("no_such_subteam")
		}
		return map[string]any{"ok": true, "users": users}
	case "conversations.info":
		c, known := s.channels[form.Get("channel")]
		if !known {
			return refuse("channel_not_found")
		}
		return map[string]any{"ok": true, "channel": map[string]any{
			"id": c.ID, "name": c.Name, "is_member": c.Member, "is_archived": c.Archived,
		}}
	case "files.getUploadURLExternal":
		f := &File{ID: s.nextID("F"), Name: form.Get("filename")}
		s.uploads[f.ID] = f
		return map[string]any{"ok": true, "file_id": f.ID, "upload_url": s.http.URL + "/upload/" + f.ID}
	case "files.completeUploadExternal":
		return s.shareFiles(form)
	case "views.open", "views.publish", "views.update":
		return s.view(method, form)
	}
	return refuse("unknown_method")
}

func (s *Server) post(method string, form url.Values) map[string]any {
	id := form.Get("channel")
	if c, known := s.channels[id]; known && (!c.Member || c.Archived) {
		if c.Archived {
			return refuse("is_archived")
		}
		return refuse("not_in_channel")
	}
	if len(form.Get("text")) > 40000 {
		return refuse("msg_too_long")
	}
	p := &Post{Channel: directChannel(id), Thread: form.Get("thread_ts"), Via: method, Arrived: time.Now()}
	if refusal := p.fill(form); refusal != "" {
		return refuse(refusal)
	}
	p.TS = s.nextTS()
	s.posts = append(s.posts, p)
	if method == "chat.postEphemeral" {
		p.OnlyFor = form.Get("user")
		return map[string]any{"ok": true, "message_ts": p.TS}
	}
	// The platform tells the bot of its own posts like of anybody's.
	s.publish(&message{channel: p.Channel, ts: p.TS, thread: p.Thread, user: BotUser, bot: BotID, text: p.Raw})
	return map[string]any{"ok": true, "channel": p.Channel, "ts": p.TS, "message": map[string]any{
		"type": "message", "text": p.Raw, "ts": p.TS, "thread_ts": p.Thread, "bot_id": BotID,
	}}
}

func (s *Server) update(form url.Values) map[string]any {
	i := slices.IndexFunc(s.posts, func(p *Post) bool {
		return p.Channel == form.Get("channel") && p.TS == form.Get("ts")
	})
	if i < 0 {
		return refuse("message_not_found")
	}
	p := s.posts[i]
	if refusal := p.fill(form); refusal != "" {
		return refuse(refusal)
	}
	p.Updated++
	return map[string]any{"ok": true, "channel": p.Channel, "ts": p.TS, "text": p.Raw}
}

// directChannel is the id of the conversation a post lands in: a person's id
// stands for the direct messages with them.
func directChannel(id string) string {
	if strings.HasPrefix(id, "U") {
		return "D" + id[1:]
	}
	return id
}

// fill reads text and blocks, refusing what the platform refuses.
func (p *Post) fill(form url.Values) (refusal string) {
	p.Raw = form.Get("text")
	p.Text, p.Blocks, p.Buttons = unescape(p.Raw), nil, nil
	raw := form.Get("blocks")
	if raw == "" || raw == "null" {
		if p.Raw == "" {
			return "no_text"
		}
		return ""
	}
	p.Blocks = json.RawMessage(raw)
	var blocks []struct {
		Type    string `json:"type"`
		BlockID string `json:"block_id"`
		Text    struct {
			Text string `json:"text"`
		} `json:"text"`
		Elements []struct {
			Type     string `json:"type"`
			ActionID string `json:"action_id"`
			Value    string `json:"value"`
			Text     struct {
				Text string `json:"text"`
			} `json:"text"`
		} `json:"elements"`
	}
	if json.Unmarshal(p.Blocks, &blocks) != nil || len(blocks) > 50 {
		return "invalid_blocks"
	}
	var sections []string
	for n, b := range blocks {
		switch b.Type {
		case "section":
			if chars := len([]rune(b.Text.Text)); chars == 0 || chars > 3000 {
				return "invalid_blocks"
			}
			sections = append(sections, unescape(b.Text.Text))
		case "actions":
			if len(b.Elements) == 0 || len(b.Elements) > 25 {
				return "invalid_blocks"
			}
			seen := map[string]bool{}
			for _, e := range b.Elements {
				if seen[e.ActionID] || len(e.ActionID) > 255 || len(e.Value) > 2000 ||
					e.Text.Text == "" || len([]rune(e.Text.Text)) > 75 {
					return "invalid_blocks"
				}
				seen[e.ActionID] = true
				if b.BlockID == "" {
					b.BlockID = fmt.Sprintf("b%d", n)
				}
				p.Buttons = append(p.Buttons, Button{
					Label: unescape(e.Text.Text), ActionID: e.ActionID, BlockID: b.BlockID, Value: e.Value,
				})
			}
		}
	}
	p.Text = strings.Join(sections, "\n")
	return ""
}

func (s *Server) shareFiles(form url.Values) map[string]any {
	var listed []struct {
		ID    string `json:"id"`
		Title string `json:"title"`
	}
	if json.Unmarshal([]byte(form.Get("files")), &listed) != nil || len(listed) == 0 {
		return refuse("invalid_arguments")
	}
	p := &Post{
		Channel: form.Get("channel_id"), Thread: form.Get("thread_ts"),
		Raw: form.Get("initial_comment"), Text: unescape(form.Get("initial_comment")), Via: "files.completeUploadExternal",
	}
	if c, known := s.channels[p.Channel]; p.Channel == "" || strings.HasPrefix(p.Channel, "U") || known && !c.Member {
		return refuse("channel_not_found")
	}
	var files []map[string]string
	for _, l := range listed {
		f := s.uploads[l.ID]
		if f == nil || f.Data == nil {
			return refuse("file_not_found")
		}
		f.Title = l.Title
		p.Files = append(p.Files, *f)
		files = append(files, map[string]string{"id": f.ID, "title": f.Title})
	}
	p.TS = s.nextTS()
	s.posts = append(s.posts, p)
	s.publish(&message{channel: p.Channel, ts: p.TS, thread: p.Thread, user: BotUser, bot: BotID, text: p.Raw, subtype: "file_share"})
	return map[string]any{"ok": true, "files": files}
}

func (s *Server) serveUpload(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	s.calls = append(s.calls, Call{Method: "upload", Form: url.Values{"id": {r.PathValue("id")}}})
	fault, faulty := s.takeFault("upload")
	s.notify()
	s.mu.Unlock()
	if faulty && s.strike(w, r, fault) {
		return
	}
	data, err := uploadedBytes(r)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	f := s.uploads[r.PathValue("id")]
	if f == nil {
		http.Error(w, "no such upload", http.StatusNotFound)
		return
	}
	f.Data = data
	fmt.Fprintf(w, "OK - %d", len(data))
}

// serveFile gives a file to whoever shows the bot's token.
func (s *Server) serveFile(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	s.calls = append(s.calls, Call{Method: "download", Form: url.Values{"id": {r.PathValue("id")}}})
	fault, faulty := s.takeFault("download")
	f := s.uploads[r.PathValue("id")]
	s.notify()
	s.mu.Unlock()
	switch {
	case faulty && s.strike(w, r, fault):
	case r.Header.Get("Authorization") != "Bearer "+BotToken:
		http.Error(w, "sign in", http.StatusForbidden)
	case f == nil:
		http.NotFound(w, r)
	default:
		_, _ = w.Write(f.Data) // the reader may have gone
	}
}

func uploadedBytes(r *http.Request) ([]byte, error) {
	if kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); kind != "multipart/form-data" {
		return io.ReadAll(r.Body)
	}
	file, _, err := r.FormFile("file")
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return io.ReadAll(file)
}

func (s *Server) serveResponseURL(w http.ResponseWriter, r *http.Request) {
	form, _, err := readCall(r)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	defer s.notify()
	p := &Post{TS: s.nextTS(), Via: "response_url"}
	if refusal := p.fill(form); refusal != "" {
		writeJSON(w, refuse(refusal))
		return
	}
	s.posts = append(s.posts, p)
	fmt.Fprint(w, "ok")
}
