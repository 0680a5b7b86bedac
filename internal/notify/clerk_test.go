package notify_test

import (
	"bufio"
	"bytes"
	"net"
	"strings"
	"sync"
	"testing"
)

// A clerk is a bare SMTP server, without TLS, that falls silent at one stage:
// greeting, ehlo, mail, rcpt, data, dot (the mail is kept, its answer never
// comes) or quit.
type clerk struct {
	addr string

	mu      sync.Mutex
	silent  string
	mails   [][]byte
	commons []string // what clients said, first words
}

func openClerk(t *testing.T) *clerk {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &clerk{addr: l.Addr().String()}
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			wg.Go(func() { c.serve(conn) })
		}
	})
	t.Cleanup(func() { l.Close(); wg.Wait() })
	return c
}

func (c *clerk) fallSilentAt(stage string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.silent = stage
}

func (c *clerk) hangsUp() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.silent == "hangup"
}

func (c *clerk) received() [][]byte {
	c.mu.Lock()
	defer c.mu.Unlock()
	return append([][]byte(nil), c.mails...)
}

func (c *clerk) said(word string) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, s := range c.commons {
		if s == word {
			return true
		}
	}
	return false
}

// serve speaks as RFC 5321 has it until the client goes away.
func (c *clerk) serve(conn net.Conn) {
	defer conn.Close()
	r := bufio.NewReader(conn)
	say := func(stage, line string) {
		c.mu.Lock()
		silent := c.silent == stage
		c.mu.Unlock()
		if !silent {
			_, _ = conn.Write([]byte(line + "\r\n"))
		}
	}
	say("greeting", "220 clerk.example.org ready")
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			return
		}
		word, _, _ := strings.Cut(strings.ToLower(strings.TrimSpace(line)), " ")
		c.mu.Lock()
		c.commons = append(c.commons, word)
		c.mu.Unlock()
		switch word {
		case "ehlo", "helo":
			say("ehlo", "250 clerk.example.org")
		case "mail":
			say("mail", "250 go on")
		case "rcpt":
			say("rcpt", "250 go on")
		case "data":
			say("data", "354 go on")
			if !c.keep(r) || c.hangsUp() {
				return
			}
			say("dot", "250 kept as 7")
		case "quit":
			say("quit", "221 goodbye")
			return
		default:
			say("", "250 as you like")
		}
	}
}

// keep reads a mail to its dot and keeps it.
func (c *clerk) keep(r *bufio.Reader) bool {
	var mail bytes.Buffer
	for {
		line, err := r.ReadBytes('\n')
		if err != nil {
			return false
		}
		if string(line) == ".\r\n" {
			break
		}
		mail.Write(bytes.TrimPrefix(line, []byte(".")))
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.mails = append(c.mails, mail.Bytes())
	return true
}
