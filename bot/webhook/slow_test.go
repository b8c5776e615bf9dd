package webhook_test

import (
	"context"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"clogwise/bot/webhook"
)

// A sender that begins a header and does not end it is cut off, so that such
// cannot hold every connection.
func TestSlowSenderIsCutOff(t *testing.T) {
	t.Parallel()
	b := start(t, func(s *webhook.Server) { s.HeaderWait = 50 * time.Millisecond })
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.server.Serve(ctx, l) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	conn, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // cut off by the server
	if _, err := io.WriteString(conn, "POST /v1/readings HTTP/1.1\r\nHost: x\r\n"); err != nil {
		t.Fatal(err)
	}
	// The server has to end it: nothing else ends this read before the test does.
	if err := conn.SetReadDeadline(time.Now().Add(20 * time.Second)); err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(io.Discard, conn); err != nil && strings.Contains(err.Error(), "timeout") {
		t.Error("still open")
	}
}
