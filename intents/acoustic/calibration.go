package acoustic

// calibration maps the evidence to a probability that the callout was said;
// fitted by intents/train/calibrate.py, in the order of evidence.features.
var calibration = [...]float64{4.0277, 0.3989, 0.2193, -0.1922, -5.6855, -1.3973, -0.2482, 0.2959, 3.7482, 0.2307, -1.0503, 0.3439, -19.9147, 5.2488, 0.1747, 0.2051, 1.9152, 2.3419, -0.3542}
