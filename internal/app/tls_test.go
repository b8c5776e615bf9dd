package app_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"clogwise/internal/app"
	"clogwise/internal/config"
)

// issue writes a self-signed certificate for the loopback address and returns
// its configuration and a pool that trusts it.
func issue(t *testing.T, dir string, until time.Time) (config.HTTP, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	tmpl := &x509.Certificate{
		SerialNumber: big.NewInt(until.UnixNano()), Subject: pkix.Name{CommonName: "filters.example"},
		NotBefore: time.Now().Add(-48 * time.Hour), NotAfter: until, IsCA: true, BasicConstraintsValid: true,
		DNSNames: []string{"filters.example"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
	}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, tmpl, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	rawKey, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	h := config.HTTP{
		Listen: "127.0.0.1:0", MaxBodyBytes: 1 << 20, RatePerSec: 50, Burst: 100,
		TLSCertFile: filepath.Join(dir, "cert.pem"), TLSKeyFile: filepath.Join(dir, "key.pem"),
	}
	for name, b := range map[string]*pem.Block{
		h.TLSCertFile: {Type: "CERTIFICATE", Bytes: der}, h.TLSKeyFile: {Type: "PRIVATE KEY", Bytes: rawKey},
	} {
		if err := os.WriteFile(name, pem.EncodeToMemory(b), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(leaf)
	return h, pool
}

func openTLS(t *testing.T, h config.HTTP) *app.App {
	t.Helper()
	cfg, err := config.Load("", nil)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	cfg.Data, cfg.Ledger, cfg.HTTP = dir, filepath.Join(dir, "ledger.db"), h
	a, err := app.Open(t.Context(), cfg, app.Options{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	return a
}

// serveWeb runs the webhook until the test ends and returns its address.
func serveWeb(t *testing.T, a *app.App) string {
	t.Helper()
	services, addr, err := a.Webhook(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- services[0].Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return addr
}

func client(pool *x509.CertPool, most uint16) *http.Client {
	return &http.Client{Transport: &http.Transport{
		DisableKeepAlives: true, ForceAttemptHTTP2: true,
		TLSClientConfig: &tls.Config{RootCAs: pool, MaxVersion: most}, //nolint:gosec // old versions must be refused
	}}
}

func TestTLS(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	h, pool := issue(t, dir, time.Now().Add(90*24*time.Hour))
	addr := serveWeb(t, openTLS(t, h))
	url := "https://" + addr + "/healthz"

	res, err := client(pool, 0).Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close() //nolint:errcheck // nothing to read
	if res.StatusCode != http.StatusOK || res.TLS.Version != tls.VersionTLS13 {
		t.Errorf("status %d, TLS %x", res.StatusCode, res.TLS.Version)
	}
	for k, want := range map[string]string{
		"Strict-Transport-Security": "max-age=31536000", "X-Content-Type-Options": "nosniff", "Cache-Control": "no-store",
		"Referrer-Policy": "no-referrer", "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
	} {
		if got := res.Header.Get(k); got != want {
			t.Errorf("%s: %q, want %q", k, got, want)
		}
	}
	if res, err := client(pool, tls.VersionTLS11).Get(url); err == nil {
		t.Errorf("TLS 1.1 was answered with %d", res.StatusCode)
	}
	if res, err := http.Get("http://" + addr + "/healthz"); err == nil && res.StatusCode == http.StatusOK {
		t.Error("answered without TLS")
	}

	// Half a renewal does not stop the service; a whole one is taken up.
	if err := os.WriteFile(h.TLSCertFile, []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := client(pool, 0).Get(url); err != nil {
		t.Errorf("in the midst of a renewal: %v", err)
	}
	_, renewed := issue(t, dir, time.Now().Add(180*24*time.Hour))
	if _, err := client(renewed, 0).Get(url); err != nil {
		t.Errorf("the renewed certificate is not used: %v", err)
	}
}

func TestDoctorLooksAtTheCertificate(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		left  time.Duration
		spoil func(*testing.T, config.HTTP)
		ok    bool
		says  string
	}{
		"valid":       {90 * 24 * time.Hour, nil, true, "for filters.example, 127.0.0.1, valid until"},
		"soon":        {3 * 24 * time.Hour, nil, false, "runs out on"},
		"over":        {-time.Hour, nil, false, "ran out on"},
		"open to all": {90 * 24 * time.Hour, func(t *testing.T, h config.HTTP) { chmod(t, h.TLSKeyFile, 0o604) }, false, "chmod o="},
		"key missing": {90 * 24 * time.Hour, func(t *testing.T, h config.HTTP) { remove(t, h.TLSKeyFile) }, false, "no such file"},
		"another key": {90 * 24 * time.Hour, func(t *testing.T, h config.HTTP) { anotherKey(t, h) }, false, "does not match"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h, _ := issue(t, t.TempDir(), time.Now().Add(tc.left))
			if tc.spoil != nil {
				tc.spoil(t, h)
			}
			a := openTLS(t, h)
			for _, c := range a.Doctor(t.Context()) {
				if c.What != "certificate" {
					continue
				}
				if c.OK != tc.ok || !strings.Contains(c.Says, tc.says) {
					t.Errorf("%v %q; want %v with %q", c.OK, c.Says, tc.ok, tc.says)
				}
				return
			}
			t.Error("the doctor says nothing of the certificate")
		})
	}
}

func chmod(t *testing.T, name string, mode os.FileMode) {
	t.Helper()
	if err := os.Chmod(name, mode); err != nil {
		t.Fatal(err)
	}
}

func remove(t *testing.T, name string) {
	t.Helper()
	if err := os.Remove(name); err != nil {
		t.Fatal(err)
	}
}

func anotherKey(t *testing.T, h config.HTTP) {
	t.Helper()
	other, _ := issue(t, t.TempDir(), time.Now().Add(time.Hour))
	raw, err := os.ReadFile(other.TLSKeyFile)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(h.TLSKeyFile, raw, 0o600); err != nil {
		t.Fatal(err)
	}
}
