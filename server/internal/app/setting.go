package app

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"lastlight/server/internal/post"
)

// setting is one line of the configuration: its key, what is expected, and how it is read and shown.
type setting struct {
	key      string
	standard string // empty: none
	expected string
	secret   bool // never repeated in an error
	set      func(*Config, string) error
	show     func(Config) string
}

// variable is the setting's name in the environment.
func (s setting) variable() string { return envPrefix + strings.ToUpper(s.key) }

// settings is all there is to configure; file, environment, printing and errors follow it.
var settings = []setting{
	{
		key: "database_url", expected: "the PostgreSQL database, postgres://USER@HOST:PORT/NAME", secret: true,
		set: func(c *Config, text string) error {
			_, err := pgx.ParseConfig(text)
			c.DatabaseURL = text
			return err
		},
		show: func(c Config) string { return withoutSecrets(c.DatabaseURL) },
	},
	{
		key: "listen", standard: "127.0.0.1:7443", expected: "the address to listen on, HOST:PORT",
		set: func(c *Config, text string) error {
			_, port, err := net.SplitHostPort(text)
			if err == nil {
				_, err = strconv.ParseUint(port, 10, 16)
			}
			c.Listen = text
			return err
		},
		show: func(c Config) string { return c.Listen },
	},
	{
		key: "tls_cert", expected: "the file with the server's certificate (PEM)",
		set:  func(c *Config, text string) error { c.TLSCert = text; return nil },
		show: func(c Config) string { return c.TLSCert },
	},
	{
		key: "tls_key", expected: "the file with the certificate's key (PEM, mode 0600)",
		set:  func(c *Config, text string) error { c.TLSKey = text; return nil },
		show: func(c Config) string { return c.TLSKey },
	},
	{
		key: "club", expected: "the club's name; migrate writes it into the database",
		set:  func(c *Config, text string) error { c.Club = text; return nil },
		show: func(c Config) string { return c.Club },
	},
	{
		key: "time_zone", expected: "the IANA zone in which dates without a site are read, e.g. Europe/Zurich; migrate writes it into the database",
		set: func(c *Config, text string) error {
			if text == "Local" {
				return errors.New("not a name")
			}
			_, err := time.LoadLocation(text)
			c.TimeZone = text
			return err
		},
		show: func(c Config) string { return c.TimeZone },
	},
	number("pool_connections", "16", 2, 1000, "connections to the database", func(c *Config) *int { return &c.PoolConnections }),
	number("calls_at_once", "64", 1, 10000, "calls at work at the same time", func(c *Config) *int { return &c.CallsAtOnce }),
	number("calls_waiting", "1000", 0, 100000, "calls that may wait for one of those to end", func(c *Config) *int { return &c.CallsWaiting }),
	span("longest_call", "2m", time.Second, time.Hour, "the longest that one call may work", func(c *Config) *time.Duration { return &c.LongestCall }),
	span("statement_timeout", "30s", 100*time.Millisecond, time.Hour, "the longest that one SQL statement may work", func(c *Config) *time.Duration { return &c.StatementTimeout }),
	span("stop_within", "15s", time.Second, 10*time.Minute, "the longest that stopping may wait for calls at work", func(c *Config) *time.Duration { return &c.StopWithin }),
	span("migrate_within", "10m", time.Second, 24*time.Hour, "the longest that migrate may take, waiting for others included", func(c *Config) *time.Duration { return &c.MigrateWithin }),
	{
		key: "smtp_server", expected: "the mail server that letters are handed to, HOST:PORT; none: no letters are sent",
		set: func(c *Config, text string) error {
			_, _, err := net.SplitHostPort(text)
			c.Mail.Server = text
			return err
		},
		show: func(c Config) string { return c.Mail.Server },
	},
	{
		key: "smtp_from", expected: "the address that letters come from, NAME@HOST",
		set:  func(c *Config, text string) error { c.Mail.From = text; return nil },
		show: func(c Config) string { return c.Mail.From },
	},
	{
		key: "smtp_user", expected: "the user at the mail server, if it asks for one",
		set:  func(c *Config, text string) error { c.Mail.User = text; return nil },
		show: func(c Config) string { return c.Mail.User },
	},
	{
		key: "smtp_password_file", expected: "the file with that user's password (mode 0600)",
		set:  func(c *Config, text string) error { c.Mail.PasswordFile = text; return nil },
		show: func(c Config) string { return c.Mail.PasswordFile },
	},
	{
		key: "smtp_security", standard: post.StartTLS, expected: "starttls or tls; without TLS nothing is sent",
		set: func(c *Config, text string) error {
			if text != post.StartTLS && text != post.TLS {
				return errors.New("not one of them")
			}
			c.Mail.Security = text
			return nil
		},
		show: func(c Config) string { return c.Mail.Security },
	},
	{
		key: "smtp_ca", expected: "the file with the mail server's CA (PEM), where the machine does not know it",
		set:  func(c *Config, text string) error { c.Mail.CA = text; return nil },
		show: func(c Config) string { return c.Mail.CA },
	},
	span("mail_pause", "1m", 100*time.Millisecond, time.Hour, "how often the queue of letters is looked at", func(c *Config) *time.Duration { return &c.MailPause }),
	{
		key: "log_level", standard: "info", expected: "debug, info, warn or error",
		set: func(c *Config, text string) error {
			var level slog.Level
			c.LogLevel = text
			return level.UnmarshalText([]byte(text))
		},
		show: func(c Config) string { return c.LogLevel },
	},
}

func number(key, standard string, least, most int, what string, field func(*Config) *int) setting {
	return setting{
		key: key, standard: standard, expected: fmt.Sprintf("%s, %d to %d", what, least, most),
		set: func(c *Config, text string) error {
			n, err := strconv.Atoi(text)
			if err == nil && (n < least || n > most) {
				err = errors.New("out of range")
			}
			*field(c) = n
			return err
		},
		show: func(c Config) string { return strconv.Itoa(*field(&c)) },
	}
}

func span(key, standard string, least, most time.Duration, what string, field func(*Config) *time.Duration) setting {
	return setting{
		key: key, standard: standard, expected: fmt.Sprintf("%s, %s to %s", what, least, most),
		set: func(c *Config, text string) error {
			d, err := time.ParseDuration(text)
			if err == nil && (d < least || d > most) {
				err = errors.New("out of range")
			}
			*field(c) = d
			return err
		},
		show: func(c Config) string { return field(&c).String() },
	}
}

func known(key string) bool {
	for _, s := range settings {
		if s.key == key {
			return true
		}
	}
	return false
}

func keys() []string {
	var all []string
	for _, s := range settings {
		all = append(all, s.key)
	}
	return all
}

// withoutSecrets rebuilds what may be shown of a database URL: host, port, name, user. Everything else is left out, because a
// password can stand in more than one place.
func withoutSecrets(databaseURL string) string {
	if databaseURL == "" {
		return ""
	}
	c, err := pgx.ParseConfig(databaseURL)
	if err != nil {
		return "(set, and not readable)"
	}
	u := url.URL{Scheme: "postgres", User: url.User(c.User), Host: net.JoinHostPort(c.Host, strconv.Itoa(int(c.Port))), Path: "/" + c.Database}
	if strings.HasPrefix(c.Host, "/") { // a directory with a socket
		u.Host = ""
		u.RawQuery = url.Values{"host": {c.Host}, "port": {strconv.Itoa(int(c.Port))}}.Encode()
	}
	return u.String()
}
