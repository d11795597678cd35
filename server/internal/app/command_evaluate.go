package app

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

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
			"does not have its hash. Needs no database.",
		Example: "  lastlightd evaluate evidence.json",
		RunE: func(cmd *cobra.Command, args []string) error {
			text, err := readInput(args[0], cmd.InOrStdin())
			if err != nil {
				return err
			}
			e, err := parseEvidence(text)
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			report, differs := e.replay()
			if report == nil {
				return differs
			}
			if _, err = p.out.Write(report); err != nil {
				return err
			}
			return differs
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

// parseEvidence reads evidence, or an engine's input alone.
func parseEvidence(text []byte) (*evidence, error) {
	var e evidence
	if err := strict(text, &e); err != nil || len(e.Input) == 0 {
		e = evidence{Input: text}
	}
	if err := strict(e.Input, &e.input); err != nil {
		return nil, fmt.Errorf("neither evidence nor an engine input: %w", err)
	}
	return &e, nil
}

func strict(text []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return err
	}
	if d.More() {
		return errors.New("something follows after the document")
	}
	return nil
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
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		r = f
	}
	text, err := io.ReadAll(io.LimitReader(r, largestInput+1))
	if err == nil && len(text) > largestInput {
		err = fmt.Errorf("%s: larger than %d MiB", path, largestInput>>20)
	}
	return text, err
}
