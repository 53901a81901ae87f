// The channel bit at a place of a word: MFM's clock bits before the data bits, the highest first.
module clock_generator (
    input  wire        clock,
    input  wire        reset,
    input  wire        begins,       // the write's first channel bit: its data bit before is a 0
    input  wire        advance,      // for one clock: the channel bit at `position` is written
    input  wire [3:0]  position,     // even for a clock bit, odd for a data bit
    input  wire [15:0] word,         // data below; a 1 above leaves out the clock bit before it
    output wire        channel_bit
);
    reg last_data;

    wire [2:0] place = 3'd7 - position[3:1];
`ifdef FAULT_DATA_REVERSED
    wire data_bit = word[{1'b0, position[3:1]}];
`else
    wire data_bit = word[{1'b0, place}];
`endif
`ifdef FAULT_MARK_CLOCKED
    wire left_out = 1'b0 & word[{1'b1, place}];
`else
    wire left_out = word[{1'b1, place}];
`endif
`ifdef FAULT_CONTEXT_KEPT
    wire data_before = last_data | (1'b0 & begins);
`elsif FAULT_CONTEXT_ZERO_AT_WORD
    wire data_before = last_data && !begins && position != 4'd0;
`else
    wire data_before = last_data && !begins;
`endif
`ifdef FAULT_CLOCK_IGNORES_DATA_BEFORE
    wire clock_bit = !(data_bit | (1'b0 & data_before)) && !left_out;
`elsif FAULT_CLOCK_IGNORES_DATA_BEHIND
    wire clock_bit = !data_before && !left_out;
`else
    wire clock_bit = !(data_bit | data_before) && !left_out;
`endif

    assign channel_bit = position[0] ? data_bit : clock_bit;

    always @(posedge clock)
        if (reset)
            last_data <= 1'b0;
        else if (advance && position[0])
            last_data <= data_bit;
endmodule
