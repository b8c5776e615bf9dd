// Command send is a worked client for integrators, in Go with nothing but its
// standard library: it sends readings or change-outs to clogwise, signed after
// Standard Webhooks, and again under the same id until they are taken.
//
//	echo '{"bank":"north/ahu-1/secondary","pa":120}' |
//	  CLOGWISE_SECRET=whsec_… send http://127.0.0.1:8086/v1/readings north-2026-03-02T08:00
//
// It exits with 0 when the message was taken (the answer says what became of
// each item), 1 when it was refused and must be mended, 75 when it was not taken
// in the end: keep the message and send it later, under the same id.
package main

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strconv"
	"strings"
	"time"
)

const (
	tries     = 5
	pauseMin  = time.Second
	pauseMost = time.Minute
)

func main() { os.Exit(run(os.Args[1:], os.Getenv("CLOGWISE_SECRET"))) }

func run(args []string, secret string) int {
	if len(args) < 2 {
		fmt.Fprintln(os.Stderr, "use: send URL ID [CONTENT-TYPE] < body")
		return 1
	}
	m := message{url: args[0], id: args[1], kind: "application/json"}
	if len(args) > 2 {
		m.kind = args[2]
	}
	var err error
	if m.key, err = base64.StdEncoding.DecodeString(strings.TrimPrefix(secret, "whsec_")); err != nil || len(m.key) == 0 {
		fmt.Fprintln(os.Stderr, "set CLOGWISE_SECRET to the secret that clogwise key new printed")
		return 1
	}
	if m.body, err = io.ReadAll(os.Stdin); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	answer, err := m.deliver()
	fmt.Print(answer)
	switch {
	case errors.Is(err, errRefused):
		return 1
	case err != nil:
		fmt.Fprintln(os.Stderr, err)
		return 75
	}
	return 0
}

type message struct {
	url, id, kind string
	key, body     []byte
}

var errRefused = errors.New("refused; mend it and send it under a new id")

// deliver sends the message until it is taken or refused.
func (m message) deliver() (answer string, err error) {
	client := &http.Client{Timeout: 30 * time.Second}
	pause := pauseMin
	for range tries {
		var wait time.Duration
		if answer, wait, err = m.send(client, time.Now()); err == nil || errors.Is(err, errRefused) {
			return answer, err
		}
		time.Sleep(min(max(wait, pause), pauseMost))
		pause *= 2
	}
	return answer, err
}

// send sends the message once. wait is how long the server asks to be left alone.
func (m message) send(client *http.Client, now time.Time) (answer string, wait time.Duration, err error) {
	req, err := http.NewRequest(http.MethodPost, m.url, bytes.NewReader(m.body))
	if err != nil {
		return "", 0, errRefused
	}
	stamp := strconv.FormatInt(now.Unix(), 10)
	req.Header.Set("Content-Type", m.kind)
	req.Header.Set("webhook-id", m.id)
	req.Header.Set("webhook-timestamp", stamp)
	req.Header.Set("webhook-signature", "v1,"+m.sign(stamp))
	res, err := client.Do(req)
	if err != nil {
		return "", 0, err
	}
	defer res.Body.Close() //nolint:errcheck // only read
	raw, err := io.ReadAll(res.Body)
	if err != nil {
		return "", 0, err
	}
	seconds, _ := strconv.Atoi(res.Header.Get("Retry-After")) // absent: none asked
	wait = time.Duration(seconds) * time.Second
	switch {
	case res.StatusCode == http.StatusOK || res.StatusCode == http.StatusAccepted:
		return string(raw), 0, nil
	case res.StatusCode == http.StatusTooManyRequests || res.StatusCode >= 500:
		return string(raw), wait, fmt.Errorf("the server answers %d", res.StatusCode)
	}
	return string(raw), 0, errRefused
}

// sign is the signature of Standard Webhooks: HMAC-SHA256 over id.timestamp.body.
func (m message) sign(stamp string) string {
	h := hmac.New(sha256.New, m.key)
	fmt.Fprintf(h, "%s.%s.", m.id, stamp)
	h.Write(m.body)
	return base64.StdEncoding.EncodeToString(h.Sum(nil))
}
