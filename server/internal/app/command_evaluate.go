package app

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"reflect"

	"github.com/spf13/cobra"

	"lastlight/engine"
)

// largestInput bounds what evaluate reads, bytes.
const largestInput = 64 << 20

func (p *program) evaluateCommand() *cobra.Command {
	return &cobra.Command{
		Use: "evaluate FILE", Short: "Run the engine on a stored input and print its report", Args: cobra.ExactArgs(1),
		Long: "Run the engine on the evidence of a plan, as `lastlight plan evidence` writes it, or on an engine's input alone (JSON; - for\n" +
			"standard input), and print the report. With evidence, ends with 1 where the report is not the stored one, byte for byte, or\n" +
			"does not have its hash. Ends with 5 where the file is neither, is too large, or holds what no dive can have (numbers out of\n" +
			"range, lists too long): every problem is told with its place. Needs no database.",
		Example: "  lastlightd evaluate evidence.json",
		RunE: func(cmd *cobra.Command, args []string) error {
			text, err := readInput(args[0], cmd.InOrStdin())
			if err != nil {
				return err
			}
			e, err := parseEvidence(text)
			if err != nil {
				return badFile{fmt.Errorf("%s: %w", args[0], err)}
			}
			report, differs := e.replay()
			if report == nil {
				return differs
			}
			if _, err = p.out.Write(report); err != nil {
				return err
			}
			return errors.Join(e.unfit(), differs)
		},
	}
}

// evidence is what a decision rests on: the engine's input and, where it is a
// plan's evidence, the report that came out then.
type evidence struct {
	Plan    string          `json:"plan"`
	Version int             `json:"plan_version"`
	Hash    string          `json:"hash"`
	Input   json.RawMessage `json:"input"`
	Report  json.RawMessage `json:"report"`

	input engine.Input
}

// parseEvidence reads evidence, or an engine's input alone. The error lists all
// that does not fit.
func parseEvidence(text []byte) (*evidence, error) {
	var top struct {
		Input json.RawMessage `json:"input"`
	}
	e := evidence{Input: text}
	var err error
	if json.Unmarshal(text, &top) == nil && len(top.Input) > 0 {
		if err = scan(text, reflect.TypeFor[storedEvidence]()); err == nil {
			err = json.Unmarshal(text, &e)
		}
	} else {
		err = scan(text, reflect.TypeFor[engine.Input]())
	}
	if err == nil {
		err = json.Unmarshal(e.Input, &e.input)
	}
	if err != nil {
		return nil, fmt.Errorf("neither evidence nor an engine input:\n%w", err)
	}
	return &e, nil
}

// storedEvidence is what a file of evidence holds, for its scan.
type storedEvidence struct {
	Plan    string          `json:"plan"`
	Version int             `json:"plan_version"`
	Hash    string          `json:"hash"`
	Input   engine.Input    `json:"input"`
	Report  json.RawMessage `json:"report"`
}

// unfit lists what no dive can have; the report says it too.
func (e *evidence) unfit() error {
	all := e.input.Problems()
	if len(all) == 0 {
		return nil
	}
	text := "the input cannot be computed on:"
	for _, p := range all {
		text += "\n" + p.Place + ": " + p.Text
	}
	return badFile{errors.New(text)}
}

// replay evaluates the input again; the error says where the outcome is not what is stored.
func (e *evidence) replay() ([]byte, error) {
	r := engine.Evaluate(e.input)
	report, err := engine.Bytes(r)
	if err != nil {
		return nil, err
	}
	if len(e.Report) > 0 && !bytes.Equal(report, e.Report) {
		return report, fmt.Errorf("the report is not the stored one, byte for byte (engine %s)", r.EngineVersion)
	}
	if e.Hash == "" {
		return report, nil
	}
	hash, err := engine.Hash(e.input, r)
	if err == nil && hash != e.Hash {
		err = fmt.Errorf("the hash is %s, stored is %s", hash, e.Hash)
	}
	return report, err
}

func readInput(path string, standard io.Reader) ([]byte, error) {
	r := standard
	large := badFile{fmt.Errorf("%s: larger than %d MiB", path, largestInput>>20)}
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		if about, err := f.Stat(); err == nil && about.Size() > largestInput {
			return nil, large
		}
		r = f
	}
	text, err := io.ReadAll(io.LimitReader(r, largestInput+1))
	if err == nil && len(text) > largestInput {
		err = large
	}
	return text, err
}
