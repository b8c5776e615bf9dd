package redistest

import (
	"bufio"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// formWait bounds how long servers may take to find each other on a machine that
// does other things as well.
const formWait = time.Minute

// Group is a master, its replica and the three Sentinels that watch them.
type Group struct {
	Master, Replica *Server
	Sentinels       []*Server
}

const groupName = "notices"

// StartGroup starts a group and waits until its Sentinels know of all of it.
func StartGroup(tb testing.TB) *Group {
	tb.Helper()
	g := &Group{Master: Start(tb, Options{})}
	host, port, err := net.SplitHostPort(g.Master.Addr)
	if err != nil {
		tb.Fatalf("redistest: %v", err)
	}
	g.Replica = Start(tb, Options{Args: []string{"--replicaof", host, port}})
	for range 3 {
		g.Sentinels = append(g.Sentinels, startSentinel(tb, g.Master.Addr))
	}
	for _, s := range g.Sentinels {
		s.await("INFO sentinel", "master0:name="+groupName+",status=ok,address="+g.Master.Addr+",slaves=1,sentinels=3")
	}
	return g
}

// URL is the group's address as package queue takes it.
func (g *Group) URL() string {
	var addrs []string
	for _, s := range g.Sentinels {
		addrs = append(addrs, s.Addr)
	}
	return "redis+sentinel://" + strings.Join(addrs, ",") + "/" + groupName
}

func startSentinel(tb testing.TB, master string) *Server {
	tb.Helper()
	port, err := freePort()
	if err != nil {
		tb.Fatalf("redistest: %v", err)
	}
	dir := tb.TempDir()
	file := filepath.Join(dir, "sentinel.conf") // Sentinels rewrite it
	text := fmt.Sprintf("port %s\nbind 127.0.0.1\ndir %s\nsentinel monitor %s %s 2\nsentinel down-after-milliseconds %s 1000\nsentinel failover-timeout %s 6000\n",
		port, dir, groupName, strings.Replace(master, ":", " ", 1), groupName, groupName)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		tb.Fatalf("redistest: %v", err)
	}
	s := &Server{Addr: net.JoinHostPort("127.0.0.1", port), tb: tb, args: []string{file, "--sentinel"}}
	if err := s.launch(); err != nil {
		tb.Fatalf("redistest: %v", err)
	}
	tb.Cleanup(s.Kill)
	return s
}

// Cluster is three masters that share the slots, and a replica of one of them.
type Cluster struct {
	Masters []*Server
	Replica *Server
	Owner   *Server // the master that has the replica
}

// StartCluster starts a cluster and waits until all of it is formed. The replica
// is of the master that holds a key.
func StartCluster(tb testing.TB, key string) *Cluster {
	tb.Helper()
	if _, err := exec.LookPath(Binary); err != nil {
		tb.Skipf("%s is not installed, so this test against a real Redis Cluster is left out (on Debian: apt-get install redis-server)", Binary)
	}
	c := &Cluster{}
	node := func() *Server {
		return Start(tb, Options{Args: []string{"--cluster-enabled", "yes", "--cluster-node-timeout", "2000",
			"--cluster-replica-validity-factor", "0", "--cluster-require-full-coverage", "no"}})
	}
	for i := range 3 {
		s := node()
		from, to := i*slots/3, (i+1)*slots/3-1
		s.await(fmt.Sprintf("CLUSTER ADDSLOTSRANGE %d %d", from, to), "+OK")
		c.Masters = append(c.Masters, s)
		if slot := c.Masters[0].slot(key); from <= slot && slot <= to {
			c.Owner = s
		}
	}
	c.Replica = node()
	for _, s := range append(c.Masters[1:], c.Replica) {
		s.await("CLUSTER MEET "+strings.Replace(c.Masters[0].Addr, ":", " ", 1), "+OK")
	}
	for _, s := range append([]*Server{c.Replica}, c.Masters...) {
		s.await("CLUSTER INFO", "cluster_known_nodes:4")
		s.await("CLUSTER INFO", "cluster_slots_assigned:16384")
		s.await("CLUSTER INFO", "cluster_state:ok")
	}
	c.Replica.await("CLUSTER REPLICATE "+c.Owner.last("CLUSTER MYID"), "+OK")
	c.Replica.await("INFO replication", "master_link_status:up")
	return c
}

// slots of a cluster.
const slots = 16384

// URL is the cluster's address as package queue takes it.
func (c *Cluster) URL() string {
	var addrs []string
	for _, s := range c.Masters {
		addrs = append(addrs, s.Addr)
	}
	return "redis+cluster://" + strings.Join(addrs, ",")
}

// await repeats a command until a line of its answer is the wanted one.
func (s *Server) await(command, want string) {
	s.tb.Helper()
	retry := time.NewTicker(50 * time.Millisecond) // other processes give no signal
	defer retry.Stop()
	for end := time.Now().Add(formWait); ; <-retry.C {
		err := ask(s.Addr, command, want)
		if err == nil {
			return
		}
		if time.Now().After(end) {
			s.tb.Fatalf("redistest: %s on %s: %v", command, s.Addr, err)
		}
	}
}

func (s *Server) slot(key string) (n int) {
	s.tb.Helper()
	if _, err := fmt.Sscanf(s.last("CLUSTER KEYSLOT "+key), ":%d", &n); err != nil {
		s.tb.Fatalf("redistest: slot of %s: %v", key, err)
	}
	return n
}

// last is the last line of the answer to a command, before that to QUIT.
func (s *Server) last(command string) string {
	s.tb.Helper()
	conn, err := net.DialTimeout("tcp", s.Addr, 5*time.Second)
	if err != nil {
		s.tb.Fatalf("redistest: %v", err)
	}
	defer conn.Close() //nolint:errcheck // the server closes it
	if err := conn.SetDeadline(time.Now().Add(5 * time.Second)); err != nil {
		s.tb.Fatalf("redistest: %v", err)
	}
	fmt.Fprintf(conn, "%s\r\nQUIT\r\n", command)
	var lines []string
	for sc := bufio.NewScanner(conn); sc.Scan(); {
		lines = append(lines, strings.TrimSpace(sc.Text()))
	}
	if len(lines) < 2 {
		s.tb.Fatalf("redistest: %s: answered %q", command, lines)
	}
	return lines[len(lines)-2]
}
