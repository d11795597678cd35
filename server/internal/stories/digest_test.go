package stories

import (
	"crypto/tls"
	"io"
	"net"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"lastlight/engine/policy"
	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/app"
	"lastlight/server/internal/post"
	"lastlight/server/internal/store"
)

// mailbox is a mail server of its own: what it was handed, and how it answers.
type mailbox struct {
	sync.Mutex
	letters []string
	to      []string
	tried   int
	plain   bool // letters that came without TLS
	answer  error
}

func (m *mailbox) NewSession(c *smtp.Conn) (smtp.Session, error) {
	_, secure := c.TLSConnectionState()
	return &mailSession{box: m, secure: secure}, nil
}

type mailSession struct {
	box    *mailbox
	secure bool
	to     string
}

func (s *mailSession) Mail(string, *smtp.MailOptions) error      { return nil }
func (s *mailSession) Rcpt(to string, _ *smtp.RcptOptions) error { s.to = to; return nil }
func (s *mailSession) Reset()                                    {}
func (s *mailSession) Logout() error                             { return nil }

func (s *mailSession) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	s.box.Lock()
	defer s.box.Unlock()
	s.box.tried++
	if err != nil {
		return err
	}
	if s.box.answer != nil {
		return s.box.answer
	}
	s.box.plain = s.box.plain || !s.secure
	s.box.letters, s.box.to = append(s.box.letters, string(text)), append(s.box.to, s.to)
	return nil
}

func (m *mailbox) answers(err error) { m.Lock(); m.answer = err; m.Unlock() }

func (m *mailbox) has() (letters []string, tried int) {
	m.Lock()
	defer m.Unlock()
	return append([]string(nil), m.letters...), m.tried
}

// listen starts the mail server; withTLS offers STARTTLS.
func (m *mailbox) listen(t *testing.T, address string, withTLS bool) *smtp.Server {
	t.Helper()
	s := smtp.NewServer(m)
	s.Domain, s.AllowInsecureAuth = "mail.test", true
	if withTLS {
		pair, err := tls.LoadX509KeyPair(filepath.Join(certificates, "server.pem"), filepath.Join(certificates, "server.key"))
		if err != nil {
			t.Fatal(err)
		}
		s.TLSConfig = &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	s.Addr = l.Addr().String()
	go func() { _ = s.Serve(l) }()
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// sending adds a server to the club that sends mail, as often as every tenth of a second.
func (c *club) sending(address string) {
	url := c.pool.Config().ConnString()
	serveWith(c.t, url, c.clock.Now, func(config *app.Config) {
		config.MailPause = 100 * time.Millisecond
		config.Mail = post.Config{Server: address, From: "lastlight@club.test", Security: post.StartTLS, CA: filepath.Join(certificates, "ca.pem")}
	})
}

func (c *club) letters(state string) []*pb.Letter {
	c.t.Helper()
	out, err := pb.NewDueServiceClient(c.conn).ListLetters(c.as("keeper"), &pb.ListLettersRequest{State: state})
	if err != nil {
		c.t.Fatal(err)
	}
	return out.Letters
}

// until waits for what happens in its own time, at most ten seconds.
func until(t *testing.T, what string, happened func() bool) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); !happened(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("never: %s", what)
		}
	}
}

func (c *club) digest(as, address, every string) error {
	_, err := pb.NewDueServiceClient(c.conn).SetDigest(c.as(as), &pb.SetDigestRequest{Address: address, Every: every, RequestId: id()})
	return err
}

func TestDigestByMail(t *testing.T) {
	c := newPool(t, "2026-06-08 05:30")
	for _, bad := range [][2]string{{"nobody", "day"}, {"a@b.test", ""}, {"", "day"}, {"a@b.test", "year"}} {
		if err := c.digest("asta", bad[0], bad[1]); status.Code(err) != codes.InvalidArgument {
			t.Errorf("asked for %v: %v", bad, err)
		}
	}
	if err := c.digest("asta", "asta@post.test", "day"); err != nil {
		t.Fatal(err)
	}
	// A reel is checked every 12 months, a caution (practice 9.3): over by the day of the letter.
	c.apply(record(&pb.Equipment{Id: "reel", Kind: "reel", Owner: "asta", ServiceEvents: []*pb.ServiceEvent{{Id: "reel", Kind: "check", Date: "2025-08-30"}}}))
	box := &mailbox{}
	s := box.listen(t, "127.0.0.1:0", true)
	c.sending(s.Addr)
	c.sending(s.Addr) // two servers, one letter

	time.Sleep(400 * time.Millisecond)
	if letters, _ := box.has(); len(letters) > 0 || len(c.letters("")) > 0 {
		t.Error("a letter before the hour for them")
	}
	// The mail server is busy: tried again later, not given up, sent once.
	box.answers(&smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 3, 0}, Message: "busy, asta@post.test"})
	c.clock.set(c.at("2026-08-31 06:00")) // of a Monday; kit and currency of the team end about then
	until(t, "the first try", func() bool { _, tried := box.has(); return tried == 1 })
	until(t, "the letter waits", func() bool { l := c.letters("queued"); return len(l) == 1 && l[0].Why != "" })
	if l := c.letters("queued")[0]; l.Why != "the mail server answered 451" || l.Tries != 1 || !l.NextTryAt.AsTime().After(c.clock.Now()) {
		t.Errorf("waiting: %v", l)
	}
	box.answers(nil)
	time.Sleep(300 * time.Millisecond)
	if letters, _ := box.has(); len(letters) > 0 {
		t.Error("tried again before its time")
	}
	c.clock.set(c.at("2026-08-31 06:05"))
	until(t, "sent", func() bool { return len(c.letters("sent")) == 1 })
	time.Sleep(400 * time.Millisecond)
	letters, _ := box.has()
	if len(letters) != 1 || box.plain || box.to[0] != "asta@post.test" {
		t.Fatalf("%d letters to %v, without TLS %v", len(letters), box.to, box.plain)
	}
	head, body, _ := strings.Cut(letters[0], "\r\n\r\n")
	for _, want := range []string{"Subject: Lastlight: dates of yours", "Message-ID: <" + c.letters("sent")[0].Id + "@club.test>", "From: <lastlight@club.test>"} {
		if !strings.Contains(head, want) {
			t.Errorf("the head has no %q:\n%s", want, head)
		}
	}
	for _, secret := range []string{"medical", "fit until", "not fit"} {
		if strings.Contains(letters[0], secret) {
			t.Errorf("the letter tells of health: %q", secret)
		}
	}
	if !strings.Contains(body, "lastlight due") || !strings.Contains(body, "2026-08-31") {
		t.Errorf("the letter:\n%s", body)
	}
	if !strings.Contains(body, "- ended: reel: check was due 2026-08-30") {
		t.Errorf("the letter does not say that the reel's check is over:\n%s", body)
	}
	// The same day brings no second one; the next day does, and what is refused for good is given up without the address in the reason.
	box.answers(&smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such user asta@post.test"})
	c.clock.set(c.at("2026-09-01 06:00"))
	until(t, "given up", func() bool { return len(c.letters("given_up")) == 1 })
	if l := c.letters("given_up")[0]; l.Why != "the mail server answered 550" || l.Tries != 1 {
		t.Errorf("given up: %v", l)
	}
	// The mail server is down: the letter waits, and a server that starts later sends it.
	box.answers(nil)
	_ = s.Close()
	c.clock.set(c.at("2026-09-02 06:00"))
	until(t, "unreachable", func() bool { l := c.letters("queued"); return len(l) == 1 && l[0].Why != "" })
	box.listen(t, s.Addr, true)
	c.clock.set(c.at("2026-09-02 06:30"))
	until(t, "sent after all", func() bool { return len(c.letters("sent")) == 2 })

	// Whose letters: one's own; addresses nobody's but one's own.
	own, err := pb.NewDueServiceClient(c.conn).ListLetters(c.as("birk"), &pb.ListLettersRequest{})
	if err != nil || len(own.Letters) != 0 {
		t.Errorf("birk reads %v, %v", own, err)
	}
	mine, err := pb.NewDueServiceClient(c.conn).GetDigest(c.as("asta"), &pb.GetDigestRequest{})
	if err != nil || mine.Address != "asta@post.test" || mine.Every != "day" {
		t.Errorf("asta's digest: %v, %v", mine, err)
	}
	if err := c.digest("asta", "", ""); err != nil {
		t.Fatal(err)
	}
	c.clock.set(c.at("2026-09-03 06:30"))
	time.Sleep(400 * time.Millisecond)
	if n := len(c.letters("")); n != 3 {
		t.Errorf("%d letters, the last after the digest was ended", n)
	}
}

// Without TLS nothing is handed over.
func TestDigestDemandsTLS(t *testing.T) {
	c := newPool(t, "2026-06-08 05:30")
	if err := c.digest("asta", "asta@post.test", "week"); err != nil {
		t.Fatal(err)
	}
	c.clock.set(c.at("2026-09-02 06:30")) // a Wednesday
	box := &mailbox{}
	c.sending(box.listen(t, "127.0.0.1:0", false).Addr)
	until(t, "refused", func() bool { l := c.letters("queued"); return len(l) == 1 && l[0].Why != "" })
	if letters, tried := box.has(); len(letters)+tried > 0 {
		t.Error("a letter went out in the open")
	}
	if l := c.letters("queued")[0]; l.Period != "2026-08-31" {
		t.Errorf("the week of %s", l.Period)
	}
}

// What became of a letter is kept for the policy's days (kind letter, 30: common practice), and never so short that its period could
// be written about twice; one that waits stays.
func TestLettersAreNotKeptForEver(t *testing.T) {
	c := newPool(t, "2026-06-08 05:30") // a Monday
	for who, every := range map[string]string{"asta": "day", "birk": "week"} {
		if err := c.digest(who, who+"@post.test", every); err != nil {
			t.Fatal(err)
		}
	}
	s := store.New(c.pool, c.clock.Now)
	queue := func(day, monday string, want int64) {
		t.Helper()
		if n, err := s.QueueLetters(t.Context(), day, monday); err != nil || n != want {
			t.Fatalf("%d letters queued on %s, want %d (%v)", n, day, want, err)
		}
	}
	queue("2026-06-08", "2026-06-08", 2)
	if err := c.digest("birk", "", ""); err != nil { // gives up the one of the week
		t.Fatal(err)
	}
	gone := func(at string) int {
		t.Helper()
		c.clock.set(c.at(at))
		out, err := s.Retain(t.Context(), false)
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range out.Kinds {
			if k.Kind == "letter" {
				return k.Gone
			}
		}
		t.Fatal("letters are no kind")
		return 0
	}
	c.clock.set(c.at("2026-06-08 06:10"))
	if err := s.FinishLetter(t.Context(), c.letters("queued")[0].Id, "sent", ""); err != nil {
		t.Fatal(err)
	}
	queue("2026-07-15", "2026-07-13", 1) // waits
	for _, x := range []struct {
		at   string
		want int
	}{{"2026-07-15 05:00", 0}, {"2026-07-16 07:00", 2}, {"2026-08-20 07:00", 0}} {
		if n := gone(x.at); n != x.want {
			t.Errorf("on %s went %d, want %d", x.at, n, x.want)
		}
	}
	if len(c.letters("queued")) != 1 {
		t.Error("the letter that waits is gone")
	}

	// A policy of one day: the letter of this week stays while the week runs, so nobody is written to twice.
	c.adoptPolicy(func(p *policy.Policy) {
		for i := range p.Retention {
			if p.Retention[i].Record == "letter" {
				p.Retention[i].Days = 1
			}
		}
	})
	if err := c.digest("birk", "birk@post.test", "week"); err != nil {
		t.Fatal(err)
	}
	c.clock.set(c.at("2026-08-24 06:00"))
	queue("2026-08-24", "2026-08-24", 2)
	for _, l := range c.letters("queued") {
		if err := s.FinishLetter(t.Context(), l.Id, "sent", ""); err != nil {
			t.Fatal(err)
		}
	}
	if n := gone("2026-08-30 23:00"); n != 1 { // the one that had waited
		t.Errorf("within the week went %d", n)
	}
	queue("2026-08-24", "2026-08-24", 0)
	if n := gone("2026-09-04 06:00"); n != 2 {
		t.Errorf("after the week went %d", n)
	}
}
