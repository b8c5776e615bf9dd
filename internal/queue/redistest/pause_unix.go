//go:build unix

package redistest

import "syscall"

// Pause stops the server without closing its connections, as a machine that
// hangs would; Resume lets it go on.
func (s *Server) Pause() { s.signal(syscall.SIGSTOP) }

// Resume ends a [Server.Pause].
func (s *Server) Resume() { s.signal(syscall.SIGCONT) }

func (s *Server) signal(sig syscall.Signal) {
	s.tb.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.proc == nil {
		s.tb.Fatal("redistest: the server does not run")
	}
	if err := s.proc.cmd.Process.Signal(sig); err != nil {
		s.tb.Fatalf("redistest: %v", err)
	}
}
