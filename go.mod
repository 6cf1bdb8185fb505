module coxswain

go 1.26.0

require (
	filippo.io/age v1.3.2 // sealed records
	github.com/coreos/go-systemd/v22 v22.7.0 // readiness and watchdog
	github.com/faiface/beep v1.1.0 // mixing and resampling; archived, what works of it stands behind package audio
	github.com/go-audio/audio v1.0.0 // sample buffers of go-audio/wav
	github.com/go-audio/wav v1.1.0 // WAV files
	github.com/gordonklaus/portaudio v0.0.0-20250206071425-98a94950218b // sound devices (cgo)
	github.com/nats-io/nats.go v1.55.0 // `coxswain publish`; 2.0 MB of the binary
	github.com/parquet-go/parquet-go v0.25.1 // `coxswain records --parquet`; the last without protobuf, which adds 3.4 MB to the binary
	github.com/pion/opus v0.1.0 // decodes the spoken clips
	github.com/spf13/cobra v1.10.2 // commands
	github.com/spf13/pflag v1.0.10 // flags
	github.com/spf13/viper v1.21.0 // settings from flags, environment and file
	github.com/viterin/vek v0.4.3 // products of rows of the nets, with AVX2
	go.yaml.in/yaml/v3 v3.0.5 // vocabulary, protocols, figures; errors with lines
	golang.org/x/sys v0.50.0 // locks, real-time priority, clocks
	gonum.org/v1/gonum v0.17.0 // Fourier transform; matrices of the nets
)

// For tests only: none of it is in a binary.
require (
	github.com/chromedp/cdproto v0.0.0-20250724212937-08a3db8b4327 // pages in a real browser
	github.com/chromedp/chromedp v0.14.2 // pages in a real browser
	github.com/nats-io/nats-server/v2 v2.15.2 // a real queue
	github.com/prometheus/common v0.72.0 // reference parser of /metrics
	github.com/santhosh-tekuri/jsonschema/v6 v6.0.3 // official schemas of FHIR, our own
)

require (
	filippo.io/hpke v0.4.0 // indirect
	github.com/andybalholm/brotli v1.1.1 // indirect
	github.com/antithesishq/antithesis-sdk-go v0.8.0-default-no-op // indirect
	github.com/chewxy/math32 v1.10.1 // indirect
	github.com/chromedp/sysutil v1.1.0 // indirect
	github.com/fsnotify/fsnotify v1.9.0 // indirect
	github.com/go-audio/riff v1.0.0 // indirect
	github.com/go-json-experiment/json v0.0.0-20260213210345-44df1a37e875 // indirect
	github.com/go-viper/mapstructure/v2 v2.4.0 // indirect
	github.com/gobwas/httphead v0.1.0 // indirect
	github.com/gobwas/pool v0.2.1 // indirect
	github.com/gobwas/ws v1.4.0 // indirect
	github.com/google/go-tpm v0.9.8 // indirect
	github.com/google/uuid v1.6.0 // indirect
	github.com/inconshreveable/mousetrap v1.1.0 // indirect
	github.com/klauspost/compress v1.20.3 // indirect
	github.com/minio/highwayhash v1.0.4 // indirect
	github.com/munnerz/goautoneg v0.0.0-20191010083416-a7dc8b61c822 // indirect
	github.com/nats-io/jwt/v2 v2.8.2 // indirect
	github.com/nats-io/nkeys v0.4.16 // indirect
	github.com/nats-io/nuid v1.0.1 // indirect
	github.com/pelletier/go-toml/v2 v2.2.4 // indirect
	github.com/pierrec/lz4/v4 v4.1.22 // indirect
	github.com/pkg/errors v0.9.1 // indirect
	github.com/prometheus/client_model v0.6.3 // indirect
	github.com/sagikazarmark/locafero v0.11.0 // indirect
	github.com/sourcegraph/conc v0.3.1-0.20240121214520-5f936abd7ae8 // indirect
	github.com/spf13/afero v1.15.0 // indirect
	github.com/spf13/cast v1.10.0 // indirect
	github.com/subosito/gotenv v1.6.0 // indirect
	github.com/viterin/partial v1.1.0 // indirect
	golang.org/x/crypto v0.58.0 // indirect
	golang.org/x/exp v0.0.0-20230817173708-d852ddb80c63 // indirect
	golang.org/x/text v0.43.0 // indirect
	golang.org/x/time v0.16.0 // indirect
	google.golang.org/protobuf v1.36.12 // indirect
)
