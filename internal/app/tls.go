package app

import (
	"crypto/tls"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strings"
	"sync"
	"time"
)

// sealed lets only TLS through a listener, with the certificate of the
// configured files.
func (a *App) sealed(l net.Listener) (net.Listener, error) {
	c := &certificate{certFile: a.Cfg.HTTP.TLSCertFile, keyFile: a.Cfg.HTTP.TLSKeyFile, log: a.Log}
	if _, err := c.get(nil); err != nil {
		return nil, err
	}
	return tls.NewListener(l, &tls.Config{
		MinVersion: tls.VersionTLS12, GetCertificate: c.get, NextProtos: []string{"h2", "http/1.1"},
	}), nil
}

// certificate is read from its files again when they have changed, so that one
// renewed needs no restart.
type certificate struct {
	certFile, keyFile string
	log               *slog.Logger

	mu     sync.Mutex
	last   *tls.Certificate
	stamp  [2]time.Time // of the files, when last was read from them
	broken bool         // the files on disk could not be read; told once
}

// get has the signature of tls.Config.GetCertificate. While the files make no
// pair, as in the midst of a renewal, the last certificate serves on.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	stamp, err := changed(c.certFile, c.keyFile)
	if err == nil && c.last != nil && stamp == c.stamp {
		return c.last, nil
	}
	var fresh tls.Certificate
	if err == nil {
		fresh, err = pair(c.certFile, c.keyFile)
	}
	switch {
	case err == nil:
		c.last, c.stamp, c.broken = &fresh, stamp, false
	case c.last == nil:
		return nil, err
	case !c.broken:
		c.broken = true
		c.log.Warn("renewed certificate not taken; the last one serves on", "error", err)
	}
	return c.last, nil
}

func changed(names ...string) (stamp [2]time.Time, err error) {
	for i, name := range names {
		st, err := os.Stat(name)
		if err != nil {
			return stamp, fmt.Errorf("http.tls_cert_file, http.tls_key_file: %w", err)
		}
		stamp[i] = st.ModTime()
	}
	return stamp, nil
}

func pair(certFile, keyFile string) (tls.Certificate, error) {
	c, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return c, fmt.Errorf("http.tls_cert_file, http.tls_key_file: %w", err)
	}
	return c, nil
}

// expiresSoon is how long before its end a certificate is called for renewal.
const expiresSoon = 14 * 24 * time.Hour

// checkTLS says whether the certificate serves; nothing without one.
func (a *App) checkTLS(now time.Time) []Check {
	h := a.Cfg.HTTP
	if h.TLSCertFile == "" {
		return nil
	}
	c := Check{What: "certificate"}
	loaded, err := pair(h.TLSCertFile, h.TLSKeyFile)
	if err != nil {
		c.Says = err.Error() + ". Name PEM files that belong together and that this user may read."
		return []Check{c}
	}
	leaf := loaded.Leaf
	until := leaf.NotAfter.UTC().Format("2 January 2006 15:04 MST")
	switch {
	case now.Before(leaf.NotBefore):
		c.Says = "not valid before " + leaf.NotBefore.UTC().Format("2 January 2006 15:04 MST") + ". Look at this machine's clock."
	case now.After(leaf.NotAfter):
		c.Says = "ran out on " + until + ". Renew it; no restart is needed."
	case now.Add(expiresSoon).After(leaf.NotAfter):
		c.Says = "runs out on " + until + ". Renew it; no restart is needed."
	case len(leaf.DNSNames)+len(leaf.IPAddresses) == 0:
		c.Says = "names no host, so that no client takes it. Have one made with the host's name as subject alternative name."
	default:
		c.OK, c.Says = true, "for "+strings.Join(hosts(leaf.DNSNames, leaf.IPAddresses), ", ")+", valid until "+until
	}
	if st, err := os.Stat(h.TLSKeyFile); err == nil && c.OK && st.Mode().Perm()&0o007 != 0 {
		c.OK, c.Says = false, h.TLSKeyFile+" may be read by anybody on this machine. Type: chmod o= "+h.TLSKeyFile
	}
	return []Check{c}
}

func hosts(names []string, ips []net.IP) []string {
	out := append([]string(nil), names...)
	for _, ip := range ips {
		out = append(out, ip.String())
	}
	return out
}
