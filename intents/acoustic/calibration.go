package acoustic

// calibration maps the evidence to a probability that the callout was said;
// fitted by intents/train/calibrate.py, in the order of evidence.features.
var calibration = [...]float64{3, 1.5, 0.5, 0.3, -1, 0.3, 0.5, 0.5, 0, 0.1, 0, 0, 0}
