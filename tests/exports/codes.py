"""Reads matrix codes off pictures with ZXing's decoder: codes.py PICTURE...; prints a JSON list of texts for each."""
import json
import sys

import zxingcpp
from PIL import Image

for file in sys.argv[1:]:
    found = zxingcpp.read_barcodes(Image.open(file).convert("L"))
    print(json.dumps(sorted(code.text for code in found)))
