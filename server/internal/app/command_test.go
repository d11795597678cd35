package app

import (
	"bytes"
	"crypto/x509"
	"encoding/pem"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"lastlight/server/internal/access"
	"lastlight/server/internal/store"
	"lastlight/server/internal/storetest"
)

// command runs the program and gives its exit code, its output and its errors.
func command(t *testing.T, env map[string]string, args ...string) (code int, out, errors string) {
	t.Helper()
	var o, e bytes.Buffer
	p := &program{from: machine(env, nil), now: time.Now, out: &o, errors: &e}
	code = p.run(t.Context(), args)
	return code, o.String(), e.String()
}

func TestMigrateFromEightAtOnce(t *testing.T) {
	t.Parallel()
	env := map[string]string{"LASTLIGHT_DATABASE_URL": storetest.EmptyURL(t), "LASTLIGHT_CLUB": "Grotto Friends", "LASTLIGHT_TIME_ZONE": "Europe/Zurich"}
	if code, _, text := command(t, env, "migrate", "status"); code != 1 || !strings.Contains(text, "migrate") {
		t.Errorf("status of an empty database: %d %s", code, text)
	}
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			if code, _, text := command(t, env, "migrate", "up"); code != 0 {
				t.Errorf("%d: %s", code, text)
			}
		})
	}
	all.Wait()
	if code, out, text := command(t, env, "migrate", "status"); code != 0 || !strings.Contains(out, "can serve") {
		t.Errorf("%d %s %s", code, out, text)
	}
	// What the settings do not say stays.
	delete(env, "LASTLIGHT_CLUB")
	env["LASTLIGHT_TIME_ZONE"] = "Pacific/Auckland"
	if code, out, text := command(t, env, "migrate", "up"); code != 0 || !strings.Contains(out, "already") || !strings.Contains(out, "Grotto Friends") || !strings.Contains(out, "Pacific/Auckland") {
		t.Errorf("%d %s %s", code, out, text)
	}
}

func TestFirstToken(t *testing.T) {
	t.Parallel()
	env := map[string]string{"LASTLIGHT_DATABASE_URL": storetest.EmptyURL(t)}
	if code, _, text := command(t, env, "first-token"); code != 1 || !strings.Contains(text, "migrate") {
		t.Errorf("before migrate: %d %s", code, text)
	}
	if code, _, text := command(t, env, "migrate", "up"); code != 0 {
		t.Fatal(text)
	}
	if code, _, text := command(t, env, "first-token", "--person", "Mara Feldt", "--days", "0", "--device", " "); code != 2 ||
		!strings.Contains(text, "--person") || !strings.Contains(text, "--days") || !strings.Contains(text, "--device") {
		t.Errorf("wrong use: %d %s", code, text)
	}
	code, out, text := command(t, env, "first-token", "--person", "mara", "--full-name", "Mara Feldt", "--device", "laptop")
	if code != 0 {
		t.Fatal(text)
	}
	pool, err := pgxpool.New(t.Context(), env["LASTLIGHT_DATABASE_URL"])
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	s := store.New(pool, time.Now)
	secret, ok := access.ParseSecret(strings.TrimSpace(out))
	if !ok {
		t.Fatalf("standard output is %q, want the secret and nothing else", out)
	}
	c, err := s.CallerOf(t.Context(), secret, nil)
	if err != nil || c.Person != "mara" || c.FullName != "Mara Feldt" || c.Club != access.Committee || c.Token.Device != "laptop" {
		t.Fatalf("%+v, %v", c, err)
	}
	if strings.Contains(text, strings.TrimSpace(out)) {
		t.Error("the secret is among the messages, which go to logs")
	}

	code, out, text = command(t, env, "first-token", "--person", "eve")
	if code != 1 || out != "" || !strings.Contains(text, "--recover") {
		t.Errorf("a second first token: %d %q %s", code, out, text)
	}
	file := filepath.Join(t.TempDir(), "token")
	if code, out, text = command(t, env, "first-token", "--person", "eve", "--recover", "--out", file); code != 0 || out != "" {
		t.Fatalf("%d %q %s", code, out, text)
	}
	info, err := os.Stat(file)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v %v", info, err)
	}
	if code, _, _ = command(t, env, "first-token", "--person", "eve", "--recover", "--out", file); code != 1 {
		t.Error("an existing file was overwritten")
	}
	var events int
	if err := pool.QueryRow(t.Context(), `SELECT count(*) FROM event WHERE what = 'committee.recover' AND record = 'eve'`).Scan(&events); err != nil || events != 1 {
		t.Errorf("%d events of recovery (%v)", events, err)
	}
}

func TestFirstTokenFromManyAtOnce(t *testing.T) {
	t.Parallel()
	env := map[string]string{"LASTLIGHT_DATABASE_URL": storetest.EmptyURL(t)}
	if code, _, text := command(t, env, "migrate", "up"); code != 0 {
		t.Fatal(text)
	}
	var all sync.WaitGroup
	codes := make([]int, 4)
	for i := range codes {
		all.Go(func() { codes[i], _, _ = command(t, env, "first-token", "--person", "p"+string(rune('a'+i))) })
	}
	all.Wait()
	done := 0
	for _, code := range codes {
		if code == 0 {
			done++
		}
	}
	if done != 1 {
		t.Errorf("%d of 4 made a first token, want 1", done)
	}
}

func TestWrongUse(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{{}, {"fly"}, {"migrate"}, {"migrate", "sideways"}, {"serve", "x"}, {"serve", "--fast"}, {"evaluate"}, {"tls", "--days", "9999"}} {
		if code, _, text := command(t, nil, args...); code != 2 {
			t.Errorf("%v: exit %d, want 2: %s", args, code, text)
		}
	}
	code, _, text := command(t, nil, "serve")
	if code != 1 || !strings.Contains(text, "database_url") || !strings.Contains(text, "tls_key") {
		t.Errorf("serve without settings: %d %s", code, text)
	}
}

func TestEveryCommandHasAnExample(t *testing.T) {
	t.Parallel()
	p := &program{}
	for _, c := range p.root().Commands() {
		if c.Example == "" && !c.HasSubCommands() && c.Name() != "completion" && c.Name() != "help" {
			t.Errorf("%s has no example", c.Name())
		}
	}
}

func TestCertificates(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "tls")
	if code, _, text := command(t, nil, "tls", "--dir", dir, "--name", "dive.example.org", "--name", "192.0.2.7"); code != 0 {
		t.Fatal(text)
	}
	read := func(name string) *x509.Certificate {
		t.Helper()
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		block, _ := pem.Decode(text)
		c, err := x509.ParseCertificate(block.Bytes)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	ca, server := read("ca.pem"), read("server.pem")
	roots := x509.NewCertPool()
	roots.AddCert(ca)
	for _, name := range []string{"localhost", "127.0.0.1", "dive.example.org", "192.0.2.7"} {
		if _, err := server.Verify(x509.VerifyOptions{Roots: roots, DNSName: name}); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := server.Verify(x509.VerifyOptions{Roots: roots, DNSName: "other.example.org"}); err == nil {
		t.Error("the certificate is for a name nobody gave")
	}
	for _, name := range []string{"ca.key", "server.key"} {
		if info, err := os.Stat(filepath.Join(dir, name)); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v %v", name, info, err)
		}
	}
	if code, _, text := command(t, nil, "tls", "--dir", dir); code != 0 {
		t.Fatal(text)
	}
	if !read("ca.pem").Equal(ca) || read("server.pem").Equal(server) {
		t.Error("a second run must keep the authority and make a new server certificate")
	}
	if err := os.Remove(filepath.Join(dir, "ca.key")); err != nil {
		t.Fatal(err)
	}
	if code, _, text := command(t, nil, "tls", "--dir", dir); code != 1 || !strings.Contains(text, "ca.key") {
		t.Errorf("half an authority: %d %s", code, text)
	}
}

// The list of the erased, and what it is read back for.
func TestErasures(t *testing.T) {
	t.Parallel()
	env := map[string]string{"LASTLIGHT_DATABASE_URL": storetest.EmptyURL(t)}
	for _, args := range [][]string{{"migrate", "up"}, {"first-token", "--person", "mara", "--full-name", "Mara Feldt"}, {"first-token", "--person", "ove", "--full-name", "Ove Lind", "--recover"}} {
		if code, _, text := command(t, env, args...); code != 0 {
			t.Fatal(text)
		}
	}
	if code, out, text := command(t, env, "erasures"); code != 0 || out != "" {
		t.Errorf("of nobody: %d %q %s", code, out, text)
	}
	pool, err := pgxpool.New(t.Context(), env["LASTLIGHT_DATABASE_URL"])
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	var pseudonym string
	if err := pool.QueryRow(t.Context(), `SELECT pseudonym FROM person WHERE id = 'ove'`).Scan(&pseudonym); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "erased.txt")
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("Ove Lind\n" + pseudonym + " 2026-06-08\n\nP-12\n")
	if code, _, text := command(t, env, "erasures", "--again", file); code != 2 || !strings.Contains(text, "line 1") || !strings.Contains(text, "line 4") || strings.Contains(text, "line 2") {
		t.Errorf("what is no list: %d %s", code, text)
	}
	write(pseudonym + " 2026-06-08\nP-ZZZZZZ 2026-06-09\n")
	if code, out, text := command(t, env, "erasures", "--again", file); code != 0 || !strings.Contains(out, pseudonym+" erased") || !strings.Contains(out, "P-ZZZZZZ is erased, or not") {
		t.Errorf("%d %s %s", code, out, text)
	}
	if code, out, text := command(t, env, "erasures"); code != 0 || !strings.HasPrefix(out, pseudonym+" ") || strings.Contains(out, "ove") {
		t.Errorf("%d %s %s", code, out, text)
	}
	// The last of the committee waits.
	if err := pool.QueryRow(t.Context(), `SELECT pseudonym FROM person WHERE id = 'mara'`).Scan(&pseudonym); err != nil {
		t.Fatal(err)
	}
	write(pseudonym)
	if code, out, text := command(t, env, "erasures", "--again", file); code != 1 || !strings.Contains(out, "waits: last_of_committee") || !strings.Contains(text, "1 of 1 wait") {
		t.Errorf("%d %s %s", code, out, text)
	}
}
