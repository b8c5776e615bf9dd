package fakeslack

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"sync"
	"time"

	"github.com/gorilla/websocket"
)

// Kinds of envelope.
const (
	kindEvent       = "events_api"
	kindInteractive = "interactive"
	kindCommand     = "slash_commands"
)

// delivery is one thing to tell the bot, sent until acknowledged.
type delivery struct {
	kind     string
	eventID  string
	payload  any
	attempts int
	queued   bool
	done     bool
	failed   bool            // never acknowledged in time, and not sent again
	answer   json.RawMessage // that came with the acknowledgement
	timer    *time.Timer
}

func (d *delivery) stopTimer() {
	if d.timer != nil {
		d.timer.Stop()
	}
}

// Ack is an acknowledgement as it came over the socket.
type Ack struct {
	EnvelopeID string          `json:"envelope_id"`
	Payload    json.RawMessage `json:"payload,omitempty"`
	EventID    string          `json:"-"` // event the envelope carried; empty if unknown
}

// socket is one WebSocket to the bot.
type socket struct {
	conn *websocket.Conn
	mu   sync.Mutex // serialises writes
	gone chan struct{}
	once sync.Once
}

func (k *socket) writeJSON(v any) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.conn.WriteJSON(v)
}

// close drops the TCP connection without a goodbye.
func (k *socket) close() {
	k.once.Do(func() {
		close(k.gone)
		_ = k.conn.Close()
	})
}

func (s *Server) serveSocket(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	ticket := r.URL.Query().Get("ticket")
	valid := s.tickets[ticket]
	delete(s.tickets, ticket)
	s.mu.Unlock()
	if !valid {
		http.Error(w, "ticket used or unknown", http.StatusForbidden)
		return
	}
	// The client sends the platform's own Origin, not ours.
	up := websocket.Upgrader{CheckOrigin: func(*http.Request) bool { return true }}
	conn, err := up.Upgrade(w, r, nil)
	if err != nil {
		return
	}
	k := &socket{conn: conn, gone: make(chan struct{})}
	defer k.close()
	if !s.adopt(k) {
		return
	}
	if s.opts.PingEvery > 0 {
		s.wg.Go(func() { s.ping(k) })
	}
	s.readAcks(k)
	s.abandon(k)
}

// adopt greets the new socket and makes it the one that envelopes go to.
func (s *Server) adopt(k *socket) bool {
	hello := map[string]any{
		"type":            "hello",
		"num_connections": 1,
		"connection_info": map[string]string{"app_id": AppID},
		"debug_info":      map[string]any{"host": "applink-fake", "approximate_connection_time": 18060},
	}
	if k.writeJSON(hello) != nil {
		return false
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	select {
	case <-s.quit:
		return false
	default:
	}
	if s.socket != nil {
		s.spare = append(s.spare, s.socket)
	}
	s.opened++
	s.use(k)
	return true
}

// use makes a socket the one that envelopes go to, beginning with everything
// still unacknowledged, in order. The caller holds mu.
func (s *Server) use(k *socket) {
	s.socket = k
	s.outbound = s.outbound[:0]
	for _, d := range s.pending {
		d.queued = true
		d.stopTimer()
		s.outbound = append(s.outbound, d)
	}
	s.notify()
	s.poke()
}

// abandon forgets a socket that broke. Another process's, if there is one, takes
// over what it has not acknowledged.
func (s *Server) abandon(k *socket) {
	s.mu.Lock()
	defer s.mu.Unlock()
	defer s.notify()
	s.spare = slices.DeleteFunc(s.spare, func(other *socket) bool { return other == k })
	if s.socket != k {
		return
	}
	s.socket = nil
	if n := len(s.spare); n > 0 {
		next := s.spare[n-1]
		s.spare = s.spare[:n-1]
		s.use(next)
	}
}

func (s *Server) ping(k *socket) {
	ticker := time.NewTicker(s.opts.PingEvery)
	defer ticker.Stop()
	for {
		if k.conn.WriteControl(websocket.PingMessage, []byte("Ping from fake"), time.Now().Add(time.Second)) != nil {
			return
		}
		select {
		case <-ticker.C:
		case <-k.gone:
			return
		}
	}
}

func (s *Server) readAcks(k *socket) {
	for {
		var a Ack
		if err := k.conn.ReadJSON(&a); err != nil {
			return
		}
		s.acknowledged(a)
	}
}

func (s *Server) acknowledged(a Ack) {
	s.mu.Lock()
	defer s.mu.Unlock()
	d := s.envelopes[a.EnvelopeID]
	if d != nil {
		a.EventID = d.eventID
	}
	s.acks = append(s.acks, a)
	defer s.notify()
	if d == nil || d.done {
		return
	}
	if s.loseAcks > 0 {
		s.loseAcks--
		return
	}
	d.answer = a.Payload
	s.finish(d)
}

// finish takes a delivery off the list. The caller holds mu.
func (s *Server) finish(d *delivery) {
	d.done = true
	d.stopTimer()
	s.pending = slices.DeleteFunc(s.pending, func(p *delivery) bool { return p == d })
}

// tell queues a payload for the bot. The caller holds mu.
func (s *Server) tell(kind, eventID string, payload any) *delivery {
	d := &delivery{kind: kind, eventID: eventID, payload: payload, queued: true}
	s.pending = append(s.pending, d)
	s.outbound = append(s.outbound, d)
	s.notify()
	s.poke()
	return d
}

// tellEvent wraps an inner event as the Events API does and queues it. The
// caller holds mu. It returns the event id.
func (s *Server) tellEvent(inner any) string {
	id := s.nextID("Ev")
	s.tell(kindEvent, id, map[string]any{
		"type":       "event_callback",
		"token":      "unused",
		"team_id":    Team,
		"api_app_id": AppID,
		"event_id":   id,
		"event_time": s.opts.Clock().Unix(),
		"event":      inner,
		"authorizations": []map[string]any{
			{"team_id": Team, "user_id": BotUser, "is_bot": true},
		},
	})
	return id
}

func (s *Server) poke() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// pump sends queued deliveries one after the other, in order.
func (s *Server) pump() {
	for {
		d, send := s.next()
		if d == nil {
			select {
			case <-s.wake:
				continue
			case <-s.quit:
				return
			}
		}
		send()
	}
}

// next takes the next delivery off the queue together with the way to send it;
// nil if there is nothing to send or nowhere to send it to.
func (s *Server) next() (*delivery, func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.socket == nil && s.eventsURL == "" {
		return nil, nil
	}
	for len(s.outbound) > 0 {
		d := s.outbound[0]
		s.outbound = s.outbound[1:]
		d.queued = false
		if d.done {
			continue
		}
		d.attempts++
		d.timer = time.AfterFunc(s.opts.ResendAfter, func() { s.expire(d) })
		if s.loseSends > 0 {
			s.loseSends--
			return d, func() {}
		}
		if s.eventsURL != "" {
			target, attempt := s.eventsURL, d.attempts
			return d, func() { s.sendHTTP(target, d, attempt) }
		}
		k, env := s.socket, s.envelope(d)
		return d, func() {
			if k.writeJSON(env) != nil {
				k.close()
			}
		}
	}
	return nil, nil
}

// envelope wraps a delivery under a fresh envelope id. The caller holds mu.
func (s *Server) envelope(d *delivery) map[string]any {
	id := s.nextID("env-")
	s.envelopes[id] = d
	env := map[string]any{
		"type":                     d.kind,
		"envelope_id":              id,
		"payload":                  d.payload,
		"accepts_response_payload": d.kind != kindEvent,
	}
	if d.attempts > 1 {
		env["retry_attempt"] = d.attempts - 1
		env["retry_reason"] = "timeout"
	}
	return env
}

// expire queues an unacknowledged event again. Presses and commands are not
// resent: the person is shown an error instead.
func (s *Server) expire(d *delivery) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if d.done || d.queued {
		return
	}
	if d.kind != kindEvent {
		s.failed++
		d.failed = true
		s.finish(d)
		s.notify()
		return
	}
	d.queued = true
	s.outbound = append(s.outbound, d)
	s.poke()
}

// SendEventsTo delivers over HTTP to this address (the Events API) instead of
// over a socket, signed with Secret.
func (s *Server) SendEventsTo(address string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.eventsURL = address
	s.poke()
}

func (s *Server) sendHTTP(target string, d *delivery, attempt int) {
	body, contentType, err := httpBody(d)
	if err != nil {
		panic(err) // payloads are ours: they always encode
	}
	ctx, cancel := context.WithTimeout(context.Background(), s.opts.ResendAfter)
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, target, bytes.NewReader(body))
	if err != nil {
		cancel()
		panic(err) // the test gave a bad address
	}
	Sign(req, body, time.Now())
	req.Header.Set("Content-Type", contentType)
	if attempt > 1 {
		req.Header.Set("X-Slack-Retry-Num", strconv.Itoa(attempt-1))
		req.Header.Set("X-Slack-Retry-Reason", "http_timeout")
	}
	s.wg.Go(func() {
		defer cancel()
		resp, err := s.http.Client().Do(req)
		if err != nil {
			return
		}
		answer, err := io.ReadAll(resp.Body)
		_ = resp.Body.Close()
		if err != nil || resp.StatusCode != http.StatusOK {
			return
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		if s.loseAcks > 0 {
			s.loseAcks--
			return
		}
		d.answer = answer
		s.finish(d)
		s.notify()
	})
}

// httpBody encodes a delivery as the platform posts it: events as JSON, presses
// as a form with a JSON payload, commands as a plain form.
func httpBody(d *delivery) ([]byte, string, error) {
	js, err := json.Marshal(d.payload)
	if err != nil {
		return nil, "", err
	}
	const form = "application/x-www-form-urlencoded"
	switch d.kind {
	case kindInteractive:
		return []byte(url.Values{"payload": {string(js)}}.Encode()), form, nil
	case kindCommand:
		fields := map[string]string{}
		if err := json.Unmarshal(js, &fields); err != nil {
			return nil, "", err
		}
		v := url.Values{}
		for name, value := range fields {
			v.Set(name, value)
		}
		return []byte(v.Encode()), form, nil
	}
	return js, "application/json", nil
}

// Sign puts the platform's signature headers on a request.
func Sign(req *http.Request, body []byte, at time.Time) {
	stamp := strconv.FormatInt(at.Unix(), 10)
	mac := hmac.New(sha256.New, []byte(Secret))
	fmt.Fprintf(mac, "v0:%s:%s", stamp, body)
	req.Header.Set("X-Slack-Request-Timestamp", stamp)
	req.Header.Set("X-Slack-Signature", "v0="+hex.EncodeToString(mac.Sum(nil)))
}

// WaitConnected waits until n sockets have been opened since the start and the
// last is still there.
func (s *Server) WaitConnected(ctx context.Context, n int) error {
	return s.wait(ctx, "a socket", func() bool { return s.opened >= n && s.socket != nil })
}

// Sockets is the number of sockets opened since the start.
func (s *Server) Sockets() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.opened
}

// WaitIdle waits until everything told to the bot is acknowledged.
func (s *Server) WaitIdle(ctx context.Context) error {
	return s.wait(ctx, "acknowledgements", func() bool { return len(s.pending) == 0 })
}

// Unacked is the number of things told to the bot and not acknowledged yet.
func (s *Server) Unacked() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.pending)
}

// Acks lists the acknowledgements received, lost ones included.
func (s *Server) Acks() []Ack {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.acks)
}

// WaitAcks waits for at least n acknowledgements.
func (s *Server) WaitAcks(ctx context.Context, n int) error {
	return s.wait(ctx, "acknowledgements", func() bool { return len(s.acks) >= n })
}

// Failed is the number of presses and commands never acknowledged in time.
func (s *Server) Failed() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.failed
}

// DropSocket cuts the connection without a word.
func (s *Server) DropSocket() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.socket != nil {
		s.socket.close()
	}
}

// Disconnect asks the bot to come back on a fresh connection, as the platform
// does every few hours.
func (s *Server) Disconnect() {
	s.mu.Lock()
	k := s.socket
	s.mu.Unlock()
	if k != nil {
		_ = k.writeJSON(map[string]any{
			"type": "disconnect", "reason": "refresh_requested",
			"debug_info": map[string]string{"host": "applink-fake"},
		})
	}
}

// LoseSends loses the next n envelopes on the way to the bot.
func (s *Server) LoseSends(n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.loseSends += n
}

// LoseAcks loses the next n acknowledgements on the way back.
func (s *Server) LoseAcks(n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.loseAcks += n
}

// SendRaw writes a frame of any kind over the socket, outside the usual bookkeeping.
func (s *Server) SendRaw(frame any) error {
	s.mu.Lock()
	k := s.socket
	s.mu.Unlock()
	if k == nil {
		return fmt.Errorf("fakeslack: no socket open")
	}
	return k.writeJSON(frame)
}

// Event delivers an inner event of any shape and returns its event id.
func (s *Server) Event(inner any) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.tellEvent(inner)
}
