package app

import (
	"bytes"
	"context"
	"crypto/x509"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health/grpc_health_v1"

	"lastlight/engine"
	"lastlight/engine/enginetest"
	"lastlight/server/internal/storetest"
)

// The steps of a first installation, as commands: certificates, migrate, first token, serve; then the end by a signal.
func TestServeAsInstalled(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	env := map[string]string{
		"LASTLIGHT_DATABASE_URL": storetest.EmptyURL(t), "LASTLIGHT_LISTEN": "127.0.0.1:0",
		"LASTLIGHT_TLS_CERT": filepath.Join(dir, "server.pem"), "LASTLIGHT_TLS_KEY": filepath.Join(dir, "server.key"),
	}
	for _, args := range [][]string{{"tls", "--dir", dir}, {"migrate", "up"}, {"first-token", "--out", filepath.Join(dir, "token")}} {
		if code, _, text := command(t, env, args...); code != 0 {
			t.Fatalf("%v: %s", args, text)
		}
	}
	log := &lines{}
	p := &program{from: machine(env, nil), now: time.Now, out: &bytes.Buffer{}, errors: log}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	ended := make(chan int, 1)
	go func() { ended <- p.run(ctx, []string{"serve"}) }()

	address := ""
	for deadline := time.Now().Add(20 * time.Second); address == ""; time.Sleep(10 * time.Millisecond) {
		for line := range strings.SplitSeq(log.String(), "\n") {
			var said struct{ Msg, Listen string }
			if json.Unmarshal([]byte(line), &said) == nil && said.Msg == "serving" {
				address = said.Listen
			}
		}
		if time.Now().After(deadline) {
			t.Fatalf("does not serve: %s", log)
		}
	}
	text, err := os.ReadFile(filepath.Join(dir, "ca.pem"))
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(text)
	ask := func(c credentials.TransportCredentials) error {
		conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(c))
		if err != nil {
			return err
		}
		defer conn.Close()
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		_, err = grpc_health_v1.NewHealthClient(conn).Check(ctx, &grpc_health_v1.HealthCheckRequest{})
		return err
	}
	if err := ask(credentials.NewClientTLSFromCert(roots, "")); err != nil {
		t.Error(err)
	}
	if err := ask(credentials.NewClientTLSFromCert(x509.NewCertPool(), "")); err == nil {
		t.Error("trusted without the club's authority")
	}
	if err := ask(insecure.NewCredentials()); err == nil {
		t.Error("answers without TLS")
	}
	stop()
	select {
	case code := <-ended:
		if code != 0 || !strings.Contains(log.String(), `"stopped"`) {
			t.Errorf("exit %d: %s", code, log)
		}
	case <-time.After(time.Minute):
		t.Fatal("does not stop")
	}
}

func TestEvaluate(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	input, err := engine.Bytes(engine.Input{})
	if err != nil {
		t.Fatal(err)
	}
	report, err := engine.Bytes(engine.Evaluate(engine.Input{}))
	if err != nil {
		t.Fatal(err)
	}
	hash, err := engine.Hash(engine.Input{}, engine.Evaluate(engine.Input{}))
	if err != nil {
		t.Fatal(err)
	}
	stored := `{"plan":"loop-1","plan_version":2,"hash":"` + hash + `","input":` + string(input) + `,"report":` + string(report) + `}`
	for name, text := range map[string]string{
		"evidence.json": stored, "other.json": strings.Replace(stored, `"report":{`, `"report":{ `, 1), "hash.json": strings.Replace(stored, hash, "x"+hash[1:], 1),
		"input.json": string(input),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if code, out, text := command(t, nil, "evaluate", filepath.Join(dir, "input.json")); code != 0 || out != string(report) {
		t.Errorf("%d %s: the report is not the engine's, byte for byte", code, text)
	}
	if code, out, text := command(t, nil, "evaluate", filepath.Join(dir, "evidence.json")); code != 0 || out != string(report) {
		t.Errorf("%d %s: the evidence does not replay to its report", code, text)
	}
	for _, name := range []string{"other.json", "hash.json"} {
		if code, out, text := command(t, nil, "evaluate", filepath.Join(dir, name)); code != 1 || out != string(report) || !strings.Contains(text, "stored") {
			t.Errorf("%s: exit %d: %s", name, code, text)
		}
	}
	if code, out, _ := command(t, nil, "evaluate", filepath.Join(dir, "none.json")); code != 1 || out != "" {
		t.Errorf("no file: exit %d, printed %q", code, out)
	}
}

// What is no input is told with its place, all of it at once, and ends with 5.
func TestEvaluateWhatIsNoInput(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	full, err := engine.Bytes(enginetest.Pair())
	if err != nil {
		t.Fatal(err)
	}
	dives := func(n int) string { return `{"dives":[{}` + strings.Repeat(",{}", n-1) + "]}" }
	for name, c := range map[string]struct {
		text string
		told []string
	}{
		"empty":     {"", []string{"line 1, column 1", "unexpected EOF"}},
		"cut":       {string(full[:len(full)-1]), []string{"line 1, column", "unexpected EOF"}},
		"comma":     {"{\n  \"moment\": ,\n}", []string{"line 2, column 13"}},
		"two":       {"{} {}", []string{"line 1, column 5", "something follows"}},
		"field":     {`{"plan": {"no_such": 1, "team": [{}, {"nor_this": []}]}}`, []string{"plan.no_such: no such field", "plan.team[1].nor_this: no such field"}},
		"kinds":     {`{"plan": {"name": 5, "version": 1.5, "team": {}}, "divers": [[]]}`, []string{"plan.name: a number, expected a text", "plan.version: 1.5, expected a whole number", "plan.team: an object, expected a list", "divers[0]: a list, expected an object"}},
		"dates":     {`{"divers": [{"birth": "yesterday"}], "plan": {"entry": "2026-06-31T09:00+02:00"}}`, []string{"divers[0].birth: ", "plan.entry: "}},
		"large":     {`{"site": {"altitude_m": 1e999}}`, []string{"site.altitude_m: 1e999 is too large"}},
		"ranges":    {`{"site": {"altitude_m": 9000, "grade": 9}, "plan": {"runtime_min": -1}}`, []string{"site.altitude_m: 9000 m, must be -430 to 5500 m", "site.grade: 9", "plan.runtime_min: -1 min, must be 0 to 2880 min"}},
		"long list": {`{"plan": {"team": [{},{},{},{},{},{},{}]}}`, []string{"plan.team: more than the 6 entries allowed"}},
		"evidence":  {`{"plan":"p","plan_version":1,"hash":"","input":{"plan":{"no_such":1}},"report":{}}`, []string{"input.plan.no_such: no such field"}},
		// A few bytes that would take gigabytes when read.
		"memory": {`{"divers":[` + dives(19000) + strings.Repeat(","+dives(19000), 90) + "]}", []string{"more than 256 MiB"}},
		// In places as long as they are deep, two million brackets took all memory there is.
		"deep lists":   {strings.Repeat("[", 200_000), []string{"more than 100 lists and objects"}},
		"deep objects": {strings.Repeat(`{"a":`, 200_000), []string{"more than 100 lists and objects"}},
	} {
		file := filepath.Join(dir, strings.ReplaceAll(name, " ", "-")+".json")
		if err := os.WriteFile(file, []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		code, _, text := command(t, nil, "evaluate", file)
		if code != 5 {
			t.Errorf("%s: exit %d: %s", name, code, text)
		}
		for _, want := range c.told {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q lacks %q", name, text, want)
			}
		}
	}
	file := filepath.Join(dir, "200-mb.json")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(file, 200<<20); err != nil {
		t.Fatal(err)
	}
	if code, out, text := command(t, nil, "evaluate", file); code != 5 || out != "" || !strings.Contains(text, "larger than 64 MiB") {
		t.Errorf("200 MB: exit %d, printed %d bytes: %s", code, len(out), text)
	}
}
