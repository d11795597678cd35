// Package post sends letters from the durable queue: each person and period once, as far as mail can promise that. A letter keeps
// its Message-ID through every try, so that a reader's program can tell a second copy from a second letter.
package post

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/wneessen/go-mail"

	"lastlight/server/internal/store"
)

// The ways in which the mail server is spoken to. There is none without TLS.
const (
	StartTLS = "starttls"
	TLS      = "tls"
)

// Config is how mail is sent. The zero value sends none.
type Config struct {
	Server       string // HOST:PORT
	From         string // NAME@HOST
	User         string // empty: the server asks for none
	PasswordFile string // mode 0600
	Security     string // StartTLS or TLS
	CA           string // PEM file; empty: the machine's
}

// Sends tells whether mail is sent at all.
func (c Config) Sends() bool { return c.Server != "" }

// Queue is what the post needs of the store.
type Queue interface {
	QueueLetters(ctx context.Context, day, monday string) (int64, error)
	TakeLetters(ctx context.Context, most int, lease time.Duration) ([]store.Letter, error)
	FinishLetter(ctx context.Context, id, state, why string) error
	PostponeLetter(ctx context.Context, id, why string, until time.Time) error
}

// Post empties the queue.
type Post struct {
	Config Config
	Queue  Queue
	// Text makes a letter when it is sent, by what its reader may see then; empty: nothing is due.
	Text func(ctx context.Context, person string) (string, error)
	Now  func() time.Time
	Zone *time.Location // the club's
	Log  *slog.Logger
}

const (
	firstHour = 6 // letters are queued from this hour of the club's day on
	atOnce    = 20
	lease     = 10 * time.Minute // longer than a letter can take
	perLetter = time.Minute
	mostTries = 8 // over a day and a half
)

// wait before the next try of a letter that could not be sent so many times.
func wait(tries int) time.Duration { return min(5*time.Minute<<min(tries, 10), 6*time.Hour) }

// Round queues what the day asks for and sends what is to be sent now. Any number of servers may: each letter is leased by one.
func (p *Post) Round(ctx context.Context) error {
	now := p.Now().In(p.Zone)
	if now.Hour() >= firstHour {
		monday := now.AddDate(0, 0, -(int(now.Weekday())+6)%7)
		if _, err := p.Queue.QueueLetters(ctx, now.Format(time.DateOnly), monday.Format(time.DateOnly)); err != nil {
			return err
		}
	}
	letters, err := p.Queue.TakeLetters(ctx, atOnce, lease)
	if err != nil {
		return err
	}
	for _, l := range letters {
		if err := p.one(ctx, l); err != nil {
			return err
		}
	}
	return nil
}

// one sends a letter and says what became of it. What is written down and logged has no address and no text in it.
func (p *Post) one(ctx context.Context, l store.Letter) error {
	text, err := p.Text(ctx, l.Person)
	if err == nil && text == "" {
		return p.Queue.FinishLetter(ctx, l.ID, "nothing_due", "")
	}
	if err == nil {
		err = p.send(ctx, l, text)
	}
	if err == nil {
		p.Log.InfoContext(ctx, "letter sent", "letter", l.ID)
		return p.Queue.FinishLetter(ctx, l.ID, "sent", "")
	}
	why, lasting := reason(err)
	p.Log.WarnContext(ctx, "letter not sent", "letter", l.ID, "try", l.Tries, "why", why)
	if ctx.Err() != nil {
		return ctx.Err() // stopping: the lease ends by itself
	}
	if lasting || l.Tries >= mostTries {
		return p.Queue.FinishLetter(ctx, l.ID, "given_up", why)
	}
	return p.Queue.PostponeLetter(ctx, l.ID, why, p.Now().Add(wait(l.Tries-1)))
}

// reason says why a letter was not sent, without what the server said, which may repeat the address; lasting: trying again is in vain.
func reason(err error) (why string, lasting bool) {
	var refused *mail.SendError
	if errors.As(err, &refused) && refused.ErrorCode() > 0 {
		return "the mail server answered " + strconv.Itoa(refused.ErrorCode()), !refused.IsTemp()
	}
	if errors.As(err, &refused) && refused.IsTemp() {
		return "the mail server asks to try later", false
	}
	if strings.Contains(err.Error(), "STARTTLS") {
		return "the mail server offers no TLS", false
	}
	var network net.Error
	if errors.As(err, &network) {
		return "the mail server cannot be reached", false
	}
	return "the letter could not be handed over", false
}

func (p *Post) send(ctx context.Context, l store.Letter, text string) error {
	ctx, cancel := context.WithTimeout(ctx, perLetter)
	defer cancel()
	m := mail.NewMsg()
	if err := m.From(p.Config.From); err != nil {
		return errors.New("smtp_from is no address")
	}
	if err := m.To(l.Address); err != nil {
		return errors.New("the address is none")
	}
	m.Subject("Lastlight: dates of yours") // no name, no place, nothing of health
	_, host, _ := strings.Cut(p.Config.From, "@")
	m.SetMessageIDWithValue(l.ID + "@" + host)
	m.SetDateWithValue(p.Now())
	m.SetBulk()
	m.SetBodyString(mail.TypeTextPlain, text)
	c, err := p.Config.client()
	if err != nil {
		return err
	}
	return c.DialAndSendWithContext(ctx, m)
}

// client is a connection to be made; TLS is demanded, never only hoped for.
func (c Config) client() (*mail.Client, error) {
	host, port, err := net.SplitHostPort(c.Server)
	if err != nil {
		return nil, err
	}
	number, err := strconv.Atoi(port)
	if err != nil {
		return nil, err
	}
	settings := &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12}
	if c.CA != "" {
		pem, err := os.ReadFile(c.CA)
		if err != nil {
			return nil, err
		}
		settings.RootCAs = x509.NewCertPool()
		settings.RootCAs.AppendCertsFromPEM(pem)
	}
	options := []mail.Option{mail.WithPort(number), mail.WithTimeout(20 * time.Second), mail.WithTLSConfig(settings), mail.WithTLSPolicy(mail.TLSMandatory)}
	if c.Security == TLS {
		options = append(options, mail.WithSSL())
	}
	if c.User != "" {
		password, err := c.password()
		if err != nil {
			return nil, err
		}
		options = append(options, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(c.User), mail.WithPassword(password))
	}
	return mail.NewClient(host, options...)
}

func (c Config) password() (string, error) {
	info, err := os.Stat(c.PasswordFile)
	if err != nil {
		return "", err
	}
	if mode := info.Mode().Perm(); mode&0o077 != 0 {
		return "", fmt.Errorf("smtp_password_file has mode %04o, expected 0600", mode)
	}
	text, err := os.ReadFile(c.PasswordFile)
	return strings.TrimSpace(string(text)), err
}

// Check finds what is wrong with the settings before anything is sent.
func (c Config) Check() error {
	if !c.Sends() {
		return nil
	}
	var problems []error
	if _, host, ok := strings.Cut(c.From, "@"); !ok || host == "" {
		problems = append(problems, errors.New("smtp_from: an address, NAME@HOST, is needed where smtp_server is set"))
	}
	if c.User != "" {
		if _, err := c.password(); err != nil {
			problems = append(problems, fmt.Errorf("smtp_password_file: %w", err))
		}
	}
	if _, err := c.client(); err != nil {
		problems = append(problems, fmt.Errorf("smtp_server: %w", err))
	}
	return errors.Join(problems...)
}
