package imports

import "testing"

// rule binds the Go files of one room. Every rule carries its reason: whoever runs into it reads that, not a style guide.
type rule struct {
	room    string   // directory below the top, with all below it
	except  []string // directories below the room that the rule does not bind
	tests   bool     // binds _test.go files too
	only    []string // if set, the only imports allowed
	never   []string // imports refused
	calls   []string // functions of packages that may not be called: "time.Now"
	reason  string
	noChans bool // no goroutine, channel or select
}

// An entry of only and never is an import path, with everything below it if it ends in "/...". "std/..." is the whole standard
// library.
var rules = []rule{
	{
		room: "engine", except: []string{"facts", "ownrules"},
		only: []string{
			"cmp", "errors", "fmt", "iter", "maps", "math", "math/big", "math/bits", "slices", "sort", "strconv", "strings",
			"unicode", "unicode/utf8", "encoding/json", "crypto/sha256", "lastlight/engine/...",
		},
		calls: []string{
			"fmt.Print", "fmt.Printf", "fmt.Println", "fmt.Fprint", "fmt.Fprintf", "fmt.Fprintln",
			"fmt.Scan", "fmt.Scanf", "fmt.Scanln", "fmt.Fscan", "fmt.Fscanf", "fmt.Fscanln",
		},
		noChans: true,
		reason:  "the engine gives the same report for the same input, whenever and wherever it runs: no clock, no I/O, no randomness, no wire or SQL types, nothing concurrent",
	},
	{
		room:    "engine/facts",
		only:    []string{"fmt", "math", "reflect", "slices", "strconv", "strings", "lastlight/engine/..."},
		calls:   []string{"fmt.Print", "fmt.Printf", "fmt.Println", "fmt.Fprint", "fmt.Fprintf", "fmt.Fprintln"},
		noChans: true,
		reason:  "data only, and its bounds: those stand in the tags of the fields, so that none is forgotten",
	},
	{
		room:    "engine/ownrules",
		only:    []string{"errors", "fmt", "math", "reflect", "slices", "strconv", "strings", "sync", "cel.dev/cel-go/...", "lastlight/engine/policy"},
		noChans: true,
		reason:  "the one place where expressions in CEL are compiled and asked, over a view of its own: what it keeps between two calls is what it compiled, and nothing of a plan",
	},
	{
		room: "engine", except: []string{"ownrules"}, tests: true,
		never:  []string{"cel.dev/..."},
		reason: "built-in rules are functions; CEL is the club's, and stays in ownrules",
	},
	{
		room: "engine", tests: true,
		never:  []string{"lastlight/server/...", "lastlight/client/...", "lastlight/proto/...", "lastlight/deploy/...", "google.golang.org/grpc/...", "github.com/jackc/pgx/..."},
		reason: "the engine is tested against published tables, without the system around it",
	},
	{
		room:   "proto",
		only:   []string{"std/...", "google.golang.org/protobuf/...", "google.golang.org/grpc/...", "buf.build/gen/...", "lastlight/proto/..."},
		reason: "generated code and nothing else",
	},
	{
		room:   "migrations",
		tests:  true,
		only:   []string{"embed"},
		reason: "SQL files; what runs them is elsewhere",
	},
	{
		room: "client", except: []string{"sheet"},
		never:  []string{"lastlight/server/...", "lastlight/engine/...", "lastlight/migrations", "github.com/jackc/pgx/...", "database/sql"},
		reason: "the client is thin: rules, arithmetic on dives and records are the server's, reached through the published interface alone",
	},
	{
		room: "client/sheet",
		only: []string{
			"std/...", "lastlight/client/recordfile", "lastlight/proto/...", "lastlight/engine/calendar", "lastlight/server/zones",
			"google.golang.org/protobuf/...", "go.yaml.in/yaml/v3", "golang.org/x/text/...",
		},
		never:  []string{"lastlight/server/internal/...", "database/sql/..."},
		reason: "how a typed date or time is read is said once, in the engine's calendar; a spreadsheet's are typed on this side. Nothing else of engine or server",
	},
	{
		room:   "server",
		never:  []string{"lastlight/client/..."},
		reason: "the server knows no client",
	},
	{
		room: "server", except: []string{"internal/storetest"},
		never:  []string{"lastlight/deploy/...", "testing"},
		reason: "what is deployed must not carry the tools that deploy and test it",
	},
	{
		room: "server", except: []string{"internal/store", "internal/schema", "internal/storetest", "internal/app"},
		never:  []string{"github.com/jackc/pgx/...", "database/sql/...", "github.com/golang-migrate/..."},
		reason: "all SQL is in store, so that the domain is free of it and one place translates the database's errors",
	},
	// Inside the server a record is the API's message, so that file, call and row have one schema. What stays in one place is the
	// transport: who calls, with what codes it ends.
	{
		room: "server", except: []string{"internal/rpc", "internal/app", "cmd"},
		never:  []string{"google.golang.org/grpc/..."},
		reason: "the only home of gRPC's codes and metadata is rpc: the domain and the store answer with their own kinds of error",
	},
	{
		room: "server", except: []string{"internal/app", "cmd"},
		never:  []string{"lastlight/server/internal/app"},
		reason: "app wires everything, so nothing that it wires may know it",
	},
	{
		room:   "server/internal/store",
		never:  []string{"lastlight/server/internal/rpc"},
		reason: "the store does not know who calls it",
	},
	{
		room: "server", except: []string{"internal/app", "internal/storetest", "cmd"},
		calls:  []string{"os.Getenv", "os.LookupEnv", "os.Environ"},
		reason: "one reader of the configuration, in app",
	},
	{
		room: "server", except: []string{"internal/app", "internal/storetest", "cmd"},
		calls:  []string{"time.Now"},
		reason: "one clock, handed in by app, so that a test can set it",
	},
	{
		room:   "deploy",
		except: []string{"cmd"},
		never:  []string{"lastlight/server/internal/...", "lastlight/client/..."},
		reason: "deploy runs the programs as their users do",
	},
}

func TestImportRules(t *testing.T) {
	t.Parallel()
	for _, v := range violations(t, repository(t), rules) {
		t.Error(v)
	}
}
