// The last 16 channel bits, and whether all of them came from one source.
module shift_register (
    input  wire        clock,
    input  wire        reset,
    input  wire        take,
    input  wire        bit_taken,
    input  wire        source_changed,
    output reg  [15:0] bits,     // the newest is the lowest
    output reg         shifted,  // for one clock: `bits` has a new one
    output wire        valid
);
    reg [4:0] fresh_bits;

    assign valid = fresh_bits == 5'd16;

    always @(posedge clock)
        if (reset) begin
            bits <= 16'h0000;
            shifted <= 1'b0;
        end else begin
            shifted <= take;
            if (take)
`ifdef FAULT_BITS_REVERSED
                bits <= {bit_taken, bits[15:1]};
`else
                bits <= {bits[14:0], bit_taken};
`endif
        end

    always @(posedge clock)
        if (reset)
            fresh_bits <= 5'd16;
`ifndef FAULT_SOURCE_UNWATCHED
        else if (source_changed)
            fresh_bits <= 5'd0;
`endif
        else if (take && !valid)
            fresh_bits <= fresh_bits + 5'd1;
endmodule
