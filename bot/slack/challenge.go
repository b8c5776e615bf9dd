package slack

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"time"
)

// ErrWrongSecret says that the signing secret is not the one of who answered.
var ErrWrongSecret = errors.New("slack: signature refused: another signing secret")

// Challenge checks a request address as the platform does when it is entered: a
// signed question that only the bearer of the same secret answers.
func Challenge(ctx context.Context, address, secret string, now time.Time) error {
	const challenge = "clogwise-doctor"
	body := []byte(`{"type":"url_verification","challenge":"` + challenge + `"}`)
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, address, bytes.NewReader(body))
	if err != nil {
		return err
	}
	stamp := strconv.FormatInt(now.Unix(), 10)
	mac := hmac.New(sha256.New, []byte(secret))
	fmt.Fprintf(mac, "v0:%s:%s", stamp, body)
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("X-Slack-Request-Timestamp", stamp)
	req.Header.Set("X-Slack-Signature", "v0="+hex.EncodeToString(mac.Sum(nil)))
	resp, err := (&http.Client{Timeout: 5 * time.Second}).Do(req)
	if err != nil {
		return redacted(err)
	}
	defer resp.Body.Close() //nolint:errcheck // only read
	answer, err := io.ReadAll(io.LimitReader(resp.Body, 1<<10))
	switch {
	case err != nil:
		return redacted(err)
	case resp.StatusCode == http.StatusUnauthorized:
		return ErrWrongSecret
	case resp.StatusCode != http.StatusOK || string(answer) != challenge:
		return fmt.Errorf("slack: %s answers %d", address, resp.StatusCode)
	}
	return nil
}
